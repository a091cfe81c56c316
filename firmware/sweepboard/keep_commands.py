"""What a host may ask of what is kept on the board: the place for it, the order, the list, the pages, the removal.

`keeping` makes the area: find() returns it, or None where there is none; grow(n) makes blocks of it, a few in each
call, and returns (blocks there, blocks wanted). Where it has free_bytes(), that is the heap which is left.
"""

from sweepboard import wire
from sweepboard.arguments import RefusedError, whole

MOST_BLOCKS = 1024
MOST_LIST = 400  # numbers in one reply
NUMBER = (whole(0, 0xFFFF), None)
LEAST_FREE = 44000  # bytes: a Pico in service has 57,000; a Pico W has 33,000, and would not serve any more
NO_MEMORY = ("refused", "this board has not the memory to keep sweeps")


def text_check(name, value):
    """Check for a text; what it says is checked where it is used."""
    if not isinstance(value, str):
        raise RefusedError("malformed", "%s is no text" % name)
    return value


class KeepCommands:
    """The commands of one rig (a Service)."""

    def __init__(self, rig, keeping):
        self._rig = rig
        self._keeping = keeping
        self._page = self._message = None
        self._open()

    def _open(self):
        area, button = self._keeping.find(), getattr(self._keeping, "button", None)
        self.there = False
        self._why = ("not-now", "there is no place on the board for sweeps yet: keep_area first")
        try:
            if not self._has_memory():
                self._why = NO_MEMORY
            elif area is not None:
                from sweepboard.keep import Keeper

                self._rig.keeper = Keeper(self._rig, area, button)
                self.there = True
        except MemoryError:
            self._why = NO_MEMORY
        if not self.there:
            from sweepboard.keep_none import NoKeeper

            self._rig.keeper = NoKeeper(self._rig, button)

    def _has_memory(self):
        free_bytes = getattr(self._keeping, "free_bytes", None)
        return free_bytes is None or free_bytes() >= LEAST_FREE

    def table(self):
        """Return name -> (method, {argument: (check, default)})."""
        return {
            "keep_area": (self._area, {"blocks": (whole(1, MOST_BLOCKS), None)}),
            "keep_order": (self._order, {"text": (text_check, None)}),
            "kept": (self._kept, {}),
            "kept_about": (self._about, {"number": NUMBER}),
            "kept_pages": (self._pages, {"number": NUMBER, "first": (whole(0, 1 << 20), None)}),
            "keep_forget": (self._forget, {"number": NUMBER}),
        }

    def _keeper(self):
        if self._rig.stream.running:
            raise RefusedError("not-now", "not while it streams: stop first")
        if not self.there:
            raise RefusedError(*self._why)
        return self._rig.keeper

    def _area(self, number, blocks):
        if self._rig.stream.running:
            raise RefusedError("not-now", "not while it streams: stop first")
        if not self.there and not self._has_memory():
            raise RefusedError(*NO_MEMORY)
        try:
            there, wanted = self._keeping.grow(blocks)
        except OSError as problem:
            raise RefusedError("not-now", "the file system did not take it: %s" % problem) from None
        if there >= wanted and not self.there:
            self._open()
        return {"blocks": there, "wanted": wanted}

    def _order(self, number, text):
        keeper = self._keeper()  # first: loading modules in a stream would stop it for 0.3 s
        from sweepboard.flash_store import CLEAN
        from sweepboard.keep import blocks_for
        from sweepboard.keep_order import opened

        needed = blocks_for(opened(text)["longest"])
        if needed >= keeper.store.area.n:
            raise RefusedError(
                "out-of-range", "it needs %d blocks of flash, not below %d" % (needed, keeper.store.area.n)
            )
        while not keeper.store.count(CLEAN) and keeper.store.tidy():
            pass
        keeper.orders.set(text)
        keeper.looks_for_room = True
        return self._state(keeper)

    def _state(self, keeper):
        from sweepboard.flash_store import CLEAN, LOST

        orders = keeper.orders
        return {
            "order": orders.number,
            "order_id": orders.order["id"] if orders.order is not None else "",
            "holds": orders.holds(),
            "used": orders.used(),
            "boot": orders.boot,
            "ms": self._rig.clock.ms(),
            "blocks": keeper.store.area.n,
            "clean": keeper.store.count(CLEAN),
            "lost": keeper.store.count(LOST),
            "needed": keeper.needed(),
            "most_erased": keeper.store.most_erased(),
        }

    def _kept(self, number):
        keeper = self._keeper()
        state = self._state(keeper)
        state["numbers"] = keeper.store.numbers()[:MOST_LIST]
        state["area"] = "".join(["%02x" % byte for byte in keeper.store.area.name])
        return state

    def _about(self, number_of_command, number):
        store = self._of(number)  # first: loading a module in a stream would stop it for 20 ms
        from sweepboard.flash_page import END, HEAD

        head, end = store.text(number, HEAD), store.text(number, END)
        return {
            "pages": store.n_pages(number),
            "head": _text(head),
            "end": _text(end),
            "unwanted": self._keeper().is_unwanted(number),
        }

    def _of(self, number):
        store = self._keeper().store
        if number not in store.numbers():
            raise RefusedError("out-of-range", "nothing is kept under the number %d" % number)
        return store

    def _pages(self, number_of_command, number, first):
        store = self._of(number)
        if not self._rig.outbox.takes_long():
            raise RefusedError("busy", "the pages before are still on their way")
        if self._rig.histogram.busy:
            raise RefusedError("busy", "a histogram is still on its way")
        from sweepboard.flash_page import DATA_PAGES, PAGE

        if self._message is None:
            self._page = bytearray(PAGE)
            self._message = self._rig.histogram.lend(wire.HEADER_SIZE + DATA_PAGES * PAGE + wire.CRC_SIZE)
        blocks = store.blocks_of(number)
        n = 0
        while n < DATA_PAGES and store.read_page(number, first + n, self._page, blocks):
            at = wire.HEADER_SIZE + PAGE * n
            self._message[at : at + PAGE] = self._page
            n += 1
        if n:
            self._rig.outbox.add_long(wire.KEPT, self._message, wire.HEADER_SIZE + PAGE * n, first)
        return {"first": first, "n": n}

    def _forget(self, number_of_command, number):
        keeper = self._keeper()
        self._of(number).forget(number)
        keeper.orders.find()
        keeper.looks_for_room = True
        return self._state(keeper)


def _text(data):
    try:
        return data.decode()
    except UnicodeError:
        return ""
