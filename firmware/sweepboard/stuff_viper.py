"""wire.stuff_into in viper, for MicroPython with native code. The bytes are the same."""

import micropython


@micropython.viper
def stuff_into(out: ptr8, start: int, data: ptr8, n: int) -> int:  # noqa: F821
    """See wire.stuff_into."""
    code_at = int(start)
    pos = code_at + 1
    code = 1
    i = 0
    while i < n:
        byte = int(data[i])
        i += 1
        if byte:
            out[pos] = byte
            pos += 1
            code += 1
            if code == 255 and i < n:
                out[code_at] = code
                code_at = pos
                pos += 1
                code = 1
        else:
            out[code_at] = code
            code_at = pos
            pos += 1
            code = 1
    out[code_at] = code
    return pos
