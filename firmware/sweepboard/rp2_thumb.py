"""The reduction of one window in Thumb instructions, for ARM cores, where viper is too slow.

Numbers are those of windows.reduce_plain as long as no conversion has a bit above the twelfth. On a RISC-V
core this module does not compile, and the fast source takes the loop of windows.py instead.

One function of 64 lines: MicroPython's assembler has no calls between its functions and no macros, and its
labels hold within one function, so instructions cannot be shared out.
"""

import micropython

# ruff: noqa: F821  (names of registers and instructions belong to the assembler)


@micropython.asm_thumb
def reduce_three(r0, r1, r2, r3):  # noqa: PLR0915 (straight-line code)
    """Reduce r3 conversions of each of three channels at r0 into the 24 bytes at r1 + r2; return the largest.

    Written byte by byte: an ARMv6-M core faults on a word that is not aligned.
    """
    add(r1, r1, r2)
    mov(r2, r8)
    push({r2})
    mov(r2, r9)
    push({r2})
    mov(r8, r3)  # conversions of a channel
    mov(r2, 0)
    mov(r9, r2)  # the largest of all channels
    mov(r3, 3)  # channels left
    label(CHANNEL)
    push({r0})
    mov(r2, 0)  # sum
    mov(r4, 0)
    mvn(r4, r4)
    lsr(r4, r4, 1)  # min: larger than any
    mov(r5, 0)  # max
    mov(r7, r8)
    label(CONVERSION)
    ldrh(r6, [r0, 0])
    add(r2, r2, r6)
    cmp(r6, r4)
    bge(NOT_LESS)
    mov(r4, r6)
    label(NOT_LESS)
    cmp(r6, r5)
    ble(NOT_MORE)
    mov(r5, r6)
    label(NOT_MORE)
    add(r0, 6)
    sub(r7, 1)
    bne(CONVERSION)
    strb(r2, [r1, 0])
    lsr(r6, r2, 8)
    strb(r6, [r1, 1])
    lsr(r6, r2, 16)
    strb(r6, [r1, 2])
    lsr(r6, r2, 24)
    strb(r6, [r1, 3])
    strb(r4, [r1, 4])
    lsr(r6, r4, 8)
    strb(r6, [r1, 5])
    strb(r5, [r1, 6])
    lsr(r6, r5, 8)
    strb(r6, [r1, 7])
    add(r1, 8)
    mov(r6, r9)
    cmp(r5, r6)
    ble(NOT_LARGEST)
    mov(r9, r5)
    label(NOT_LARGEST)
    pop({r0})
    add(r0, 2)
    sub(r3, 1)
    bne(CHANNEL)
    mov(r0, r9)
    pop({r2})
    mov(r9, r2)
    pop({r2})
    mov(r8, r2)
