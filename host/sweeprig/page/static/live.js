// The live page: takes scenes from the bench and puts their words where they belong. No library, nothing from outside.
"use strict";
(() => {
  const at = (id) => document.getElementById(id);
  const SILENT_MS = 3000; // nothing heard for so long: the link counts as gone
  const QUIET_S = 1.5; // the rig itself has said nothing for so long
  let source = null;
  let heard = performance.now();
  let scene = null;
  let lead = { leads: false, you: "", leader: "", free: true };
  let ended = false;

  const text = (id, value) => {
    const node = at(id);
    if (node.textContent !== value) node.textContent = value;
  };
  const shown = (id, yes) => {
    at(id).toggleAttribute("hidden", !yes); // an SVG has no property of that name
  };
  const svg = (id, values) => {
    for (const [name, value] of Object.entries(values)) at(id).setAttribute(name, value);
  };

  function trouble(words) {
    text("link", words);
    shown("link", words !== "");
    document.body.classList.toggle("dead", words !== "");
  }

  function list(id, lines) {
    const node = at(id);
    const old = node.children;
    while (old.length > lines.length) node.lastChild.remove();
    lines.forEach((line, k) => {
      const item = old[k] || node.appendChild(document.createElement("li"));
      if (item.textContent !== line) item.textContent = line;
    });
  }

  function drawBar(bar) {
    shown("bar", bar !== null);
    shown("ends", bar !== null);
    if (bar === null) return;
    const x = (volts) => Math.max(0, Math.min(1000, (1000 * volts) / bar.top_v));
    svg("lowzone", { x: 2, width: Math.max(0, x(bar.low_margin_v) - 2) });
    svg("highzone", { x: x(bar.top_v - bar.high_margin_v), width: x(bar.high_margin_v) });
    const known = bar.low_v !== null && bar.high_v !== null;
    svg("range", known ? { x: x(bar.low_v), width: x(bar.high_v) - x(bar.low_v) } : { width: 0 });
    svg("target", bar.target ? { x: x(bar.target[0]), width: Math.max(6, x(bar.target[2]) - x(bar.target[0])) } : { width: 0 });
    const there = bar.reading_v !== null;
    svg("now", { x: there ? Math.max(0, Math.min(986, x(bar.reading_v) - 7)) : 0, width: there ? 14 : 0 });
    text("top", `${bar.top_v.toFixed(2)} V`);
  }

  function drawNear(bar) {
    const near = bar && bar.near;
    shown("near", Boolean(near));
    shown("nearends", Boolean(near));
    if (!near) return;
    const [start, stop] = near;
    const [low, target, high] = bar.target;
    const x = (volts) => Math.max(0, Math.min(1000, (1000 * (volts - start)) / (stop - start)));
    svg("window", { x: x(low), width: x(high) - x(low) });
    svg("aim", { x: x(target) - 2 });
    const there = bar.reading_v !== null;
    svg("here", { x: there ? Math.max(0, Math.min(986, x(bar.reading_v) - 7)) : 0, width: there ? 14 : 0 });
    text("nearlow", `${start.toFixed(3)} V`);
    text("neartarget", `target ${target.toFixed(3)} V`);
    text("nearhigh", `${stop.toFixed(3)} V`);
  }

  function drawStrip(now) {
    shown("strip", now.strip.length > 1 && now.bar !== null);
    if (now.strip.length < 2 || now.bar === null) return;
    const wide = 800 / now.strip_n;
    const first = now.strip_n - now.strip.length;
    const y = (volts) => 118 - Math.max(0, Math.min(1, volts / now.bar.top_v)) * 116;
    const parts = now.strip.map(([low, high], k) => {
      const middle = ((first + k + 0.5) * wide).toFixed(1);
      return `M${middle} ${(y(low) + 1).toFixed(1)}V${(y(high) - 1).toFixed(1)}`;
    });
    at("trace").setAttribute("d", parts.join(""));
  }

  function drawStrokes(now) {
    shown("strokes", now.wanted > 0);
    const ticks = at("ticks");
    while (ticks.children.length > now.wanted) ticks.lastChild.remove();
    while (ticks.children.length < now.wanted) ticks.appendChild(document.createElement("li"));
    [...ticks.children].forEach((tick, k) => tick.classList.toggle("done", k < now.done));
    text("strokewords", now.strokes);
    at("strokewords").classList.toggle("fast", now.fast);
  }

  function drawButtons() {
    const actions = scene && !ended && lead.leads ? scene.actions : [];
    const node = at("actions");
    const key = actions.map((a) => a.key + a.label).join("|");
    if (node.dataset.key !== key) {
      node.dataset.key = key;
      node.replaceChildren(
        ...actions.map((a) => {
          const button = document.createElement("button");
          button.type = "button";
          button.textContent = a.label;
          button.dataset.key = a.key;
          button.addEventListener("click", () => ask({ do: "key", key: a.key }));
          return button;
        }),
      );
    }
    shown("off", scene !== null && scene.off && !ended);
    const who = lead.leads ? `You lead (${lead.you}).` : lead.leader ? `${lead.leader} leads. You are ${lead.you}.` : `Nobody leads. You are ${lead.you}.`;
    text("lead", who);
    const button = at("leadbutton");
    button.hidden = ended || !(lead.leads || lead.free);
    button.textContent = lead.leads ? "Hand over the lead" : "Take the lead";
  }

  function draw(now) {
    scene = now;
    at("scene").dataset.kind = now.kind;
    at("scene").dataset.verdict = now.verdict;
    text("title", now.title);
    text("clock", now.clock);
    shown("simulated", now.simulated);
    text("say", now.say.toUpperCase() === now.say ? now.say : now.verdict ? now.say.toUpperCase() : now.say);
    text("under", now.under);
    shown("reading", now.digits !== "");
    text("digits", now.digits);
    text("unit", now.unit);
    text("flag", now.mark ? `${now.mark} ${now.flag}` : now.flag);
    at("flag").dataset.mark = now.mark;
    text("heard", now.mark ? now.flag.split(":")[0] : ""); // for screen readers: the state, not every number of it
    drawBar(now.bar);
    drawNear(now.bar);
    drawStrip(now);
    drawStrokes(now);
    list("events", now.events);
    list("facts", now.facts);
    shown("more", now.link !== "");
    if (now.link !== "") {
      at("morelink").href = now.link;
      text("morelink", now.link_words);
    }
    drawButtons();
    document.title = `${now.say || now.digits} - ${now.title}`;
    requestAnimationFrame(() => document.dispatchEvent(new CustomEvent("drawn", { detail: now })));
  }

  async function ask(order) {
    text("refused", "");
    try {
      const answer = await fetch("/do", {
        method: "POST",
        headers: { "content-type": "application/json" },
        body: JSON.stringify(order),
      });
      const ours = answer.headers.get("content-type") === "application/json";
      text("refused", ours ? (await answer.json()).refused : "NOT DONE: this phone is not let in any more. Scan the code at the terminal.");
    } catch {
      text("refused", "NOT SENT: no link to the bench.");
    }
  }

  async function lost() {
    trouble(ended ? "THE BENCH HAS ENDED. This is its last word." : "NO LINK TO THE BENCH. What is shown is old.");
    if (source.readyState !== EventSource.CLOSED) return;
    source.close();
    try {
      const answer = await fetch("/", { method: "HEAD" });
      if (answer.status === 403) return trouble("THE BENCH WAS STARTED ANEW. Scan the code at the terminal again.");
    } catch {
      // still no link
    }
    setTimeout(listen, 1000);
  }

  function listen() {
    source = new EventSource("/events");
    const hear = (name, then) =>
      source.addEventListener(name, (event) => {
        heard = performance.now();
        then(JSON.parse(event.data));
      });
    hear("scene", (now) => {
      ended = false;
      trouble("");
      draw(now);
    });
    hear("lead", (now) => {
      lead = now;
      drawButtons();
    });
    hear("beat", (now) => trouble(now.quiet_s > QUIET_S ? `NO WORD FROM THE RIG for ${now.quiet_s.toFixed(0)} s.` : ""));
    hear("bye", () => {
      ended = true;
      drawButtons();
    });
    source.onerror = lost;
  }

  setInterval(() => {
    if (performance.now() - heard > SILENT_MS && !ended) trouble("NO LINK TO THE BENCH. What is shown is old.");
  }, 500);

  let awake = null;
  async function stayAwake() {
    if (!("wakeLock" in navigator) || document.visibilityState !== "visible") return;
    try {
      awake = await navigator.wakeLock.request("screen");
    } catch {
      awake = null; // the browser does not let it, as when the battery is low
    }
  }
  document.addEventListener("visibilitychange", stayAwake);

  at("off").addEventListener("click", () => ask({ do: "off" }));
  at("leadbutton").addEventListener("click", () => ask({ do: lead.leads ? "give" : "take" }));
  stayAwake();
  listen();
})();
