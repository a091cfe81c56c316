"""Cases of what is kept on the board; each prints its result as JSON. Run by test_keep_*.py under both Pythons."""

import hashlib
import json
import sys
from array import array

from torn_area import PowerCutError, TornArea

from sweepboard import flash_page as fp
from sweepboard import flash_store as fs
from sweepboard import flash_writer as writing
from sweepboard import keep_sums as ks
from sweepboard import pack, wire

WINDOW = wire.WINDOW


class Draws:
    """Whole numbers that are the same under both Pythons (xorshift)."""

    def __init__(self, seed):
        self.state = seed * 2654435761 + 88172645463325252 & 0xFFFFFFFFFFFFFFFF or 1

    def below(self, n):
        x = self.state
        x ^= x << 13 & 0xFFFFFFFFFFFFFFFF
        x ^= x >> 7
        x ^= x << 17 & 0xFFFFFFFFFFFFFFFF
        self.state = x
        return (x >> 11) % n

    def bytes(self, n):
        return bytes([self.below(256) for _ in range(n)])


def packing(seed, rounds):
    """Pack records of every kind of content; return how many came back other than they went in."""
    draws = Draws(seed)
    wrong = other = 0
    digest = 0
    out = bytearray(pack.PACKED_MOST + pack.ENTRY_SIZE)
    plain = bytearray(len(out))
    for _ in range(rounds):
        n = 1 + draws.below(wire.RECORDS_PER_PACKET)
        data = _records(draws, n)
        message = draws.bytes(8) + data + bytes(4)
        length = pack.pack_entry(out, wire.RECORDS, 70000, message, 8, len(data), WINDOW)
        digest = wire.crc32(bytes(out[:length]) + digest.to_bytes(4, "little"))
        back = list(pack.entries(bytes(out[:length]), WINDOW))
        wrong += back != [(wire.RECORDS, 70000, data)]
        end = pack.pack_plain(plain, 0, message, 8, n, WINDOW)
        other += bytes(plain[:end]) != _packed(message, n)
    return {"wrong": wrong, "other": other, "digest": digest}


def loops(seed, rounds):
    """Run the loops of keep_sums beside their plain twins; return how many differ, and how many overloads."""
    draws = Draws(seed)
    wrong = overloads = 0
    for _ in range(rounds):
        n = 1 + draws.below(wire.RECORDS_PER_PACKET)
        message = draws.bytes(8) + _records(draws, n) + bytes(4)
        some, others = ks.sums(), ks.sums()
        wrong += ks.put(some, 3, message, 8, n) != ks.put_plain(others, 3, message, 8, n) or some != others
        for i in range(ks.STEP):
            some[i] = draws.below(166 * 4096)
        expected = ks.middle_plain(some)
        wrong += ks.middle(some) != expected
        rules = (draws.below(200000), 1 + draws.below(6), draws.below(6))
        state, other = array("I", [draws.below(4), draws.below(9)]), array("I", [0, 0])
        other[0], other[1] = state[0], state[1]
        found = ks.overload(state, message, 8, n, *rules)
        wrong += found != ks.overload_plain(other, message, 8, n, *rules) or state != other
        overloads += found
        ours, theirs = bytearray(40), bytearray(40)
        ks.copy(ours, 5, message, 2, 30)
        ks.copy_plain(theirs, 5, message, 2, 30)
        wrong += ours != theirs
    return {"wrong": wrong, "overloads": overloads}


def _packed(message, n):
    out = bytearray(pack.PACKED_MOST)
    return bytes(out[: pack.pack_into(out, 0, message, 8, n, WINDOW)])


def _records(draws, n):
    """Return records: of a sensor, of extremes, or of any bytes."""
    kind = draws.below(3)
    if kind == 0:
        return draws.bytes(n * wire.RECORD_SIZE)
    found = b""
    mean = draws.below(4096)
    for _ in range(n):
        mean = min(4095, max(0, mean + draws.below(9) - 4)) if kind == 1 else draws.below(2) * 4095
        total = min(4095 * WINDOW, mean * WINDOW + draws.below(WINDOW))
        for _channel in range(3):
            low, high = max(0, mean - draws.below(20)), min(4095, mean + draws.below(20))
            found += _le(total, 4) + _le(low, 2) + _le(high, 2)
        found += _le(0xFFFF if draws.below(4) else draws.below(4096), 2) + _le(8 << draws.below(2), 2)
    return found


def _le(value, n):
    return value.to_bytes(n, "little")


def damaged(seed, rounds):
    """Unpack damaged entries; return how many raised anything but ValueError."""
    draws = Draws(seed)
    bad = 0
    out = bytearray(pack.PACKED_MOST + pack.ENTRY_SIZE)
    for _ in range(rounds):
        data = _records(draws, 16)
        length = pack.pack_entry(out, wire.RECORDS, 3, data, 0, len(data), WINDOW)
        entry = bytearray(out[:length])
        entry[draws.below(length)] ^= 1 << draws.below(8)
        try:
            for _kind, _index, payload in pack.entries(bytes(entry[: draws.below(length + 1)]), WINDOW):
                len(payload)
        except ValueError:
            pass
        except Exception:  # noqa: BLE001
            bad += 1
    return bad


class Model:
    """What a store should hold: number -> [data so far, whether it ended, whether it was removed]."""

    def __init__(self):
        self.things = {}

    def check(self, store):
        """Return what is wrong of what the store holds."""
        wrong = []
        for number in store.numbers():
            data, end = read_thing(store, number)
            put, ended, removed = self.things.get(number, (b"", False, False))
            if end is not None and (data != put or not ended):
                wrong.append("%d ended with other data" % number)
            if not put.startswith(data):
                wrong.append("%d holds %d bytes that were not put" % (number, len(data)))
            if ended is True and end is None:
                wrong.append("%d ended and is cut" % number)
        owned = sum(len(store.blocks_of(number)) for number in store.numbers())
        if owned != store.count(fs.USED):
            wrong.append("%d blocks belong to nothing" % (store.count(fs.USED) - owned))
        for number, (_put, ended, removed) in self.things.items():
            if ended is True and not removed and number not in store.numbers():
                wrong.append("%d is gone" % number)
        return wrong


def read_thing(store, number):
    """Return (DATA, content of END or None), checked as a host does."""
    page = bytearray(fp.PAGE)
    data = b""
    end = None
    sequence = 0
    while True:
        found = store.read_page(number, sequence, page)
        if found is None:
            break
        if found[0] == fp.DATA:
            data += found[3]
        elif found[0] == fp.END:
            end = found[3]
        sequence += 1
    if end is not None and end[:32] != hashlib.sha256(data).digest():
        end = None
        data = b""
    return data, end


class Life:
    """Random use of one area until the power goes, over and over."""

    def __init__(self, seed):
        self.draws = Draws(seed)
        self.area = TornArea(5 + self.draws.below(6), self.draws)
        self.model = Model()
        self.marked = 0

    def one_life(self):
        """Use the area until it is cut; return what is wrong after the next start."""
        self.area.cut_in = 3 + self.draws.below(60)
        try:
            store = fs.Store(self.area)
            store.open()
            while True:
                self._something(store)
        except PowerCutError:
            self.area.cut_in = -1
        store = fs.Store(self.area)
        store.open()
        return self.model.check(store)

    def _something(self, store):
        chance = self.draws.below(10)
        things = self.model.things
        if chance < 3:
            store.tidy()
        elif chance < 4 and store.numbers():
            number = store.numbers()[self.draws.below(len(store.numbers()))]
            if number in things:
                things[number][2] = True
            store.forget(number)
        elif chance < 5 and store.numbers():
            number = store.numbers()[-1]
            if things.get(number, (0, False))[1] is True:
                try:
                    writing.append(store, number, fp.UNWANTED)
                    self.marked += 1
                except fs.Full:
                    pass
        else:
            self._keep(store)

    def _keep(self, store):
        try:
            number = store.highest + 1
            self.model.things[number] = thing = [b"", False, False]
            writer = writing.Writer(store, b"{}")
            for _ in range(self.draws.below(40)):
                part = self.draws.bytes(self.draws.below(700))
                thing[0] = thing[0] + part
                writer.put(part, 0, len(part))
            thing[1] = None  # it may have ended when the power goes now
            writer.end(lambda digest: digest + b"kept")
            thing[1] = True
        except fs.Full:
            store.tidy()


def cuts(seed, rounds):
    """Return what was wrong after `rounds` cuts, and how much was kept and erased."""
    wrong = []
    life = Life(seed)
    kept = erases = stray = marked = 0
    for i in range(rounds):
        if i % 25 == 0:
            kept += sum(1 for thing in life.model.things.values() if thing[1])
            erases += life.area.n_erases
            stray += life.area.stray
            marked += life.marked
            life = Life(seed + 1 + i)
        wrong += ["cut %d: %s" % (i, text) for text in life.one_life()]
    return {
        "wrong": wrong[:5],
        "n_wrong": len(wrong),
        "kept": kept,
        "erases": erases,
        "stray": stray,
        "marked": marked,
    }


def worn(seed, rounds):
    """Keep things in blocks of which one holds a bit that no program clears; return what ended with other data."""
    draws = Draws(seed)
    wrong = []
    told = 0
    for i in range(rounds):
        area = TornArea(4, draws)
        store = fs.Store(area)
        store.open()
        while store.tidy():
            pass
        area.stuck = (draws.below(4), fp.PAGE + draws.below(fp.BLOCK - fp.PAGE), 1 << draws.below(8))
        data = draws.bytes(9000)
        try:
            writer = writing.Writer(store, b"{}")
            writer.put(data, 0, len(data))
            writer.end(lambda digest: digest)
        except fs.Full:
            told += 1
            continue
        if read_thing(store, writer.number) != (data, hashlib.sha256(data).digest()):
            wrong.append(i)
    return {"wrong": wrong, "told": told}


if __name__ == "__main__":
    print(json.dumps(globals()[sys.argv[1]](*[int(word) for word in sys.argv[2:]])))
