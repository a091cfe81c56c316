"""An area of flash in memory whose power can go in the middle of an erase or a program."""

from sweepboard import flash_page as fp


class PowerCutError(Exception):
    """The power went."""


class TornArea:
    """Flash by its rules: a program only clears bits, an erase sets those of a block. `cut_in` operations are done,
    the next is torn: each of its bits may have changed or not. `stray` counts programs that met cleared bits."""

    name = b"testarea"

    def __init__(self, n, draws):
        self.n = n
        self.draws = draws
        self.cut_in = -1
        self.stuck = None  # (block, place, bit) that no program clears
        self.stray = self.n_erases = self.n_programs = 0
        self.blocks = [bytearray(draws.bytes(fp.PAGE) * fp.PAGES) for _ in range(n)]

    def read(self, i, buf, at):
        buf[:] = self.blocks[i][at : at + len(buf)]

    def owns(self, i):
        return True

    def _torn(self):
        self.cut_in -= 1
        return self.cut_in == -1

    def program(self, i, buf, at):
        torn = self._torn()
        self.n_programs += 1
        block = self.blocks[i]
        if at % fp.PAGE or len(buf) != fp.PAGE:
            raise AssertionError("a program of something else than a page")
        for k in range(fp.PAGE):
            kept = block[at + k] & buf[k]
            if buf[k] & ~block[at + k] and at and buf[k] != 0xFF:
                self.stray += 1
            block[at + k] = kept | (block[at + k] & self.draws.below(256) if torn else 0)
        if self.stuck and self.stuck[0] == i:
            block[self.stuck[1]] |= self.stuck[2]
        if torn:
            raise PowerCutError

    def erase(self, i):
        torn = self._torn()
        self.n_erases += 1
        block = self.blocks[i]
        if not torn:
            block[:] = b"\xff" * fp.BLOCK
            return
        kind = self.draws.below(3)
        for k in range(fp.BLOCK):
            noise = self.draws.below(256) if kind == 0 else (0xFF if self.draws.below(2) else 0)
            block[k] = noise if kind == 2 else block[k] | noise
        raise PowerCutError
