// Two captures over each other: drawn from lowest to highest of each column, finer the closer one looks.
"use strict";
(() => {
  const at = (id) => document.getElementById(id);
  const { a, b } = at("two").dataset;
  const drawing = at("both");
  const whole = { from: 0.5, to: 8 };
  let shown = { ...whole };
  let courses = [];
  let top = 5;
  let waiting = 0;

  const x = (u) => ((u - shown.from) / (shown.to - shown.from)) * 1000;
  const y = (v) => 450 - (v / top) * 440;

  function path(course) {
    let d = "";
    course.at.forEach((u, k) => {
      d += `${k ? "L" : "M"}${x(u).toFixed(1)} ${y(course.low_v[k]).toFixed(1)}V${y(course.high_v[k]).toFixed(1)}`;
    });
    return d;
  }

  function draw() {
    ["patha", "pathb"].forEach((id, k) => at(id).setAttribute("d", courses[k] ? path(courses[k]) : ""));
    const lines = [];
    for (let u = Math.ceil(shown.from); u <= shown.to && lines.length < 60; u += 1) {
      lines.push(`M${x(u).toFixed(1)} 0V460`);
    }
    for (let v = 0; v <= top; v += 1) lines.push(`M0 ${y(v).toFixed(1)}H1000`);
    const grid = document.createElementNS("http://www.w3.org/2000/svg", "path");
    grid.setAttribute("class", "hair");
    grid.setAttribute("d", lines.join(""));
    at("grid").replaceChildren(grid);
    at("left").textContent = `stroke ${shown.from.toFixed(2)}`;
    at("right").textContent = `stroke ${shown.to.toFixed(2)}`;
    at("scale").textContent = `0 to ${top.toFixed(0)} V`;
  }

  async function fetchNow() {
    const asked = new URLSearchParams({ a, b, from: shown.from - 0.05, to: shown.to + 0.05 });
    const answer = await fetch(`/two.json?${asked}`).catch(() => null);
    if (!answer || !answer.ok) {
      at("told").textContent = answer && answer.status === 404 ? "A capture is not where it lay: its sheet's page names it." : "NO LINK TO THE BENCH.";
      return;
    }
    courses = await answer.json();
    at("told").textContent = "";
    top = Math.max(5, Math.ceil(Math.max(...courses.flatMap((c) => c.high_v), 0)));
    drawing.dataset.points = courses.map((c) => c.at.length).join(" ");
    draw();
  }

  function look(from, to) {
    const least = 0.002;
    const wide = Math.max(least, Math.min(40, to - from));
    const middle = (from + to) / 2;
    shown = { from: middle - wide / 2, to: middle + wide / 2 };
    draw();
    clearTimeout(waiting);
    waiting = setTimeout(fetchNow, 120);
  }

  function zoom(factor, share = 0.5) {
    const wide = shown.to - shown.from;
    const u = shown.from + wide * share;
    look(u - wide * factor * share, u + wide * factor * (1 - share));
  }

  const share = (event) => {
    const box = drawing.getBoundingClientRect();
    return (event.clientX - box.left) / box.width;
  };
  drawing.addEventListener("wheel", (event) => {
    event.preventDefault();
    zoom(event.deltaY > 0 ? 1.25 : 0.8, share(event));
  }, { passive: false });

  const fingers = new Map();
  drawing.addEventListener("pointerdown", (event) => {
    drawing.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, share(event));
  });
  drawing.addEventListener("pointermove", (event) => {
    if (!fingers.has(event.pointerId)) return;
    const before = [...fingers.values()];
    fingers.set(event.pointerId, share(event));
    const now = [...fingers.values()];
    const wide = shown.to - shown.from;
    if (now.length === 1) return look(shown.from + wide * (before[0] - now[0]), shown.to + wide * (before[0] - now[0]));
    const apart = [Math.abs(before[1] - before[0]), Math.abs(now[1] - now[0])];
    if (apart[0] > 0.01 && apart[1] > 0.01) zoom(apart[0] / apart[1], (now[0] + now[1]) / 2);
  });
  const lift = (event) => fingers.delete(event.pointerId);
  drawing.addEventListener("pointerup", lift);
  drawing.addEventListener("pointercancel", lift);

  at("zoom").addEventListener("click", (event) => {
    const wide = shown.to - shown.from;
    const todo = { in: () => zoom(0.5), out: () => zoom(2), all: () => look(whole.from, whole.to), back: () => look(shown.from - wide / 3, shown.to - wide / 3), on: () => look(shown.from + wide / 3, shown.to + wide / 3) };
    (todo[event.target.dataset.do] || (() => {}))();
  });

  fetchNow().then(() => {
    if (!courses.length) return;
    whole.to = Math.max(2, ...courses.map((c) => c.strokes)) + 1.5;
    look(whole.from, whole.to);
  });
})();
