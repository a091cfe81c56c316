"""Cases of the keeper; each prints its result as JSON."""

import json
import sys

from harness import records
from keep_rig import KeepRig, order, strokes
from torn_area import PowerCutError

from sweepboard import keep, pack, wire


def outcome(course, **changes):
    """Return the words of the light for one sweep by an order."""
    rig = KeepRig(course=course)
    rig.send(order(**changes))
    word = rig.sweep()
    number = rig.keeper.sweeps()[-1:]
    end = rig.kept(number[0])[1] if number else None
    return {"word": word, "end": end and end["word"], "outputs": rig.switches.outputs(), "kept": len(number)}


def words():
    """Return what the light says of each kind of sweep."""
    keep.WAIT_MS = 6000
    return {
        "kept": outcome(strokes(4)),
        "fast": outcome(strokes(4, stroke_s=0.3)),
        "few": outcome(strokes(2), longest=8000),
        "unmoved": outcome([(0.0, 0.0), (1.0, 0.0)]),
        "rail": outcome(strokes(4), low=600 * 332),
    }


def live(course, hookup="powered"):
    """Return the messages that a host gets of the same hand, (kind, index, payload)."""
    rig = KeepRig(course=course)
    ask = rig.rig.ask
    ask("snapshots", spread=150, jump=150)
    ask("start", hookup=hookup)
    if hookup == "powered":
        ask("supply", on=True)
        ask("burden", on=True)
    rig.rig.steps(8000)
    ask("stop")
    return [m for m in rig.rig.messages() if m[0] not in (wire.REPLY, wire.HELLO)]


def same_as_live():
    """Return whether what is kept is what a live host gets, from the first kept window to the last."""
    course = strokes(3) + [(20.0, 0.0)]
    course.insert(4, (1.9, 0.4))  # a jump in the stroke: snapshots
    rig = KeepRig(course=course)
    rig.send()
    word = rig.sweep()
    data, end = rig.kept(rig.keeper.sweeps()[-1])
    kept = list(pack.entries(data, wire.WINDOW))
    ours, theirs = records(kept), records(live(course))
    first, last = min(ours), max(ours)
    wanted = {i: r for i, r in theirs.items() if first <= i <= last}
    snaps = [m for m in kept if m[0] == wire.SNAPSHOT]
    live_snaps = [m for m in live(course) if m[0] == wire.SNAPSHOT and first <= m[1] <= last]
    return {
        "word": word, "same": ours == wanted, "n": len(ours), "snapshots": len(snaps),
        "same_snapshots": snaps == live_snaps, "sha": end["sha256"] == _sha(data),
        "lead": rig.head(rig.keeper.sweeps()[-1])["start"] - first, "dropped": end["windows_dropped"],
    }  # fmt: skip


def _sha(data):
    import hashlib

    return "".join(["%02x" % byte for byte in hashlib.sha256(data).digest()])


def power_cut():
    """Keep two sweeps, cut the third; return what is there after the next start."""
    rig = KeepRig()
    rig.send()
    said = [rig.sweep(), rig.sweep()]
    before = [rig.kept(n) for n in rig.keeper.sweeps()]
    rig.press()
    rig.wait(3000)
    running = rig.keeper.running
    rig.area.cut_in = 5
    try:
        rig.wait(30000)
    except PowerCutError:
        pass
    rig.boot()
    sweeps = rig.keeper.sweeps()
    data, end = rig.kept(sweeps[2])
    whole = list(pack.entries(data, wire.WINDOW))
    return {
        "said": said, "running": running, "n": len(sweeps), "same": [rig.kept(n) for n in sweeps[:2]] == before,
        "cut_end": end, "cut_records": len(records(whole)), "outputs": rig.switches.outputs(),
    }  # fmt: skip


def refusals():
    """Return the light's word for a press that may not begin, and what was ever switched on."""
    found = {}
    for name, text in (("none", None), ("other rig", order(uid="11")), ("other build", order(build="plain"))):
        rig = KeepRig()
        refused = "" if text is None else rig.rig.ask("keep_order", text=text).get("reason", "")
        rig.leave()
        rig.press()
        found[name] = [refused, rig.keeper.light.word, rig.switches.outputs(), rig.keeper.running]
    rig = KeepRig()
    rig.send(order(hours=1))
    for _ in range(13):
        rig.boot()
    rig.leave()
    rig.press()
    found["expired"] = ["", rig.keeper.light.word, rig.switches.outputs(), rig.keeper.running]
    rig = KeepRig()
    rig.send(order())
    rig.service.identity["build"] = "driven"  # what was fitted since
    rig.keeper.orders.find()
    rig.leave()
    rig.press()
    found["build changed"] = ["", rig.keeper.light.word, rig.switches.outputs(), rig.keeper.running]
    rig = KeepRig()
    rig.send(order(sweeps=1))
    said = rig.sweep()
    rig.press()
    found["all done"] = [said, rig.keeper.light.word, rig.switches.outputs(), rig.keeper.running]
    return found


class Monitor:
    """A slow converter whose battery's node reads `millivolts(number of the round)`, below 0: out of range."""

    def __init__(self, millivolts):
        self._millivolts = millivolts
        self._n = self._told = 0

    def begin(self):
        self._n += 1

    def poll(self):
        new, self._told = self._told < self._n, self._n
        return new

    def readings(self):
        value = 1000 * self._millivolts(self._n)
        return [(wire.SLOW_TEMPERATURE, 0, 25000), (wire.SLOW_BATTERY, value < 0, abs(value))]


def engine():
    """Return what the light says where the battery rests, is disturbed, charges from the start, and later on."""
    found = {}
    for name, millivolts in (
        ("rests", lambda n: 1200),
        ("disturbed", lambda n: 1400 if n % 3 else 1200),
        ("charges", lambda n: 1400),
        ("started", lambda n: 1400 if n >= 20 else 1200),
        ("over range", lambda n: -3000 if n >= 20 else 1200),
    ):
        rig = KeepRig(monitor=Monitor(millivolts))
        rig.send(order(battery_uv=1320000))
        found[name] = [rig.sweep(), rig.switches.outputs(), len(rig.keeper.sweeps())]
    return found


def at_rest():
    """Return the light's word when nobody has pressed for more than a minute."""
    found = {}
    for name, text in (("none", None), ("other rig", order(uid="11")), ("ready", order())):
        rig = KeepRig()
        if text is not None:
            rig.rig.ask("keep_order", text=text)
        rig.leave()
        rig.wait(70000)
        found[name] = rig.keeper.light.word
    rig = KeepRig()
    rig.send(order(hours=1))
    for _ in range(13):
        rig.boot()
    rig.leave()
    rig.wait(70000)
    found["expired"] = rig.keeper.light.word
    rig = KeepRig()
    rig.send(order(sweeps=1))
    rig.sweep()
    rig.wait(70000)
    found["all done"] = rig.keeper.light.word
    return found


def never_sent():
    """Press on a board that has no place for sweeps; then wait."""
    rig = KeepRig()
    rig.area = None
    rig.boot()
    rig.leave()
    rig.press()
    said = [rig.keeper.light.word, rig.switches.outputs(), len(rig.lit) > 0]
    rig.wait(70000)
    return said + [rig.keeper.light.word]


def no_memory():
    """Boot a board with an area whose heap has no room for the keeper; ask, and press."""
    rig = KeepRig()
    made = keep.Store

    def too_much(area):
        raise MemoryError

    keep.Store = too_much
    rig.boot()
    keep.Store = made
    answer = rig.rig.ask("kept")
    rig.leave()
    rig.press()
    return [answer["error"], answer["reason"], rig.keeper.light.word, rig.switches.outputs()]


def little_memory():
    """A board with too little heap left: with an area and without one, nothing is loaded and nothing made."""
    out = []
    for area_there in (True, False):
        rig = KeepRig()
        grown = []
        rig.free_bytes = lambda: 33000
        rig.grow = grown.append
        if not area_there:
            rig.find = lambda: None
        rig.boot()
        answers = [rig.rig.ask("kept"), rig.rig.ask("keep_area", blocks=28)]
        out.append([[a["error"], a["reason"]] for a in answers] + [grown])
    return out


def unwanted():
    """Mark the last sweep by a long press: it does not count any more."""
    rig = KeepRig()
    rig.send(order(sweeps=1))
    said = [rig.sweep()]
    rig.press(1700)
    said.append(rig.keeper.light.word)
    said.append(rig.sweep())
    sweeps = rig.keeper.sweeps()
    return {"said": said, "unwanted": [rig.keeper.is_unwanted(n) for n in sweeps]}


def supplies():
    """Return the word, and the outputs after it, where the supply is shorted, or something else feeds the sensor."""
    found = {}
    for name in ("shorted", "fed_by_harness"):
        rig = KeepRig()
        rig.send()
        setattr(rig, name, True)
        rig.press()
        on_for = 0
        while rig.keeper.running:
            rig.wait(5)
            on_for += 5 * bool(rig.switches.outputs() & 15)
        found[name] = [rig.keeper.light.word, rig.switches.outputs(), on_for]
    return found


def host_returns():
    """A host that sends a command ends the sweep before it is answered."""
    rig = KeepRig()
    rig.send()
    rig.press()
    rig.wait(4000)
    was = rig.keeper.running
    hello = rig.rig.ask("hello")
    end = rig.kept(rig.keeper.sweeps()[-1])[1]
    return {"was": was, "running": rig.keeper.running, "outputs": rig.switches.outputs(), "end": end["word"],
            "keep": "keep" in hello["capabilities"], "streams": rig.service.stream.running}  # fmt: skip


def wiggle():
    """A wiggle order keeps presses as marks, and ends by a long one."""
    rig = KeepRig(course=[(0.0, 0.0), (60.0, 0.0)])
    rig.send(order(task="wiggle"))
    rig.press()
    rig.wait(2000)
    for _ in range(2):
        rig.press()
        rig.wait(500)
    rig.press(1700)
    data, end = rig.kept(rig.keeper.sweeps()[-1])
    marks = [m[1] for m in pack.entries(data, wire.WINDOW) if m[0] == wire.MARK]
    return {
        "marks": len(marks),
        "word": rig.keeper.light.word,
        "running": rig.keeper.running,
        "events": end["events"],
    }


def room():
    """Sweep until the memory is full; again-sweeps make room, wanted ones stay."""
    rig = KeepRig(blocks=40)
    rig.send(order(sweeps=50, longest=6000, strokes=2))
    said = []
    while len(said) < 12 and "memory" not in said:
        rig.course = strokes(4, stroke_s=0.3 if len(said) == 1 else 1.0)
        said.append(rig.sweep())
        rig.wait(1000)
    kept = [rig.kept(n)[1]["word"] for n in rig.keeper.sweeps()]
    return {"said": said, "kept": kept}


def small_area():
    """An order that the area can never hold is refused; without room a press says so."""
    rig = KeepRig(blocks=34)
    refused = rig.rig.ask("keep_order", text=order(longest=20000))["reason"]
    rig.send(order(sweeps=50))
    said = [rig.sweep(), rig.sweep()]
    return {
        "refused": refused,
        "said": said,
        "kept": len(rig.keeper.sweeps()),
        "outputs": rig.switches.outputs(),
    }


if __name__ == "__main__":
    print(json.dumps(globals()[sys.argv[1]](*[int(word) for word in sys.argv[2:]])))
