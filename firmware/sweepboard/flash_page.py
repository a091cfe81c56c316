"""The pages and blocks of what is kept on the board, as bytes: the board writes them, both ends read them.

A block is 4096 bytes, 16 pages of 256. Page 0 says whose block it is; the pages behind it hold one kept thing:

    page 0      = u32 crc of the next 28 | "KEPT" | u16 number of the block | u16 highest number so far | u32 times
                  erased | 8 bytes that name the area | zeros up to byte 64, then bits for Area.owns()
    other pages = u32 crc of the rest | u8 kind | u8 used | u16 number of the thing | u32 page of the thing | 244 bytes

A thing is its pages 0, 1, 2 ... in blocks of 15; HEAD comes first, END last with the SHA-256 of all DATA.
"""

import binascii
import struct

PAGE = 256
PAGES = 16
BLOCK = PAGE * PAGES
DATA_PAGES = PAGES - 1
HEADER_FORMAT = "<IBBHI"
HEADER = 12
ROOM = PAGE - HEADER
MOST_NUMBER = 0xFFFF

HEAD, DATA, END, UNWANTED, TICKS = 1, 2, 3, 4, 5  # kinds of a page

MAGIC = b"KEPT"
BLOCK_FORMAT = "<I4sHHI8s"
BLOCK_HEAD = 32
TICKS_AT = BLOCK - PAGE  # the last page of an order's first block


def crc32(data):
    """CRC-32 of ISO 3309."""
    return binascii.crc32(data) & 0xFFFFFFFF


def block_head(name, number, highest, erased):
    """Return the first bytes of page 0 of a block that is erased behind them."""
    head = bytearray(BLOCK_HEAD)
    struct.pack_into(BLOCK_FORMAT, head, 0, 0, MAGIC, number, highest, erased, name)
    struct.pack_into("<I", head, 0, crc32(bytes(head[4:])))
    return head


def opened_block(head):
    """Return (number, highest, erased, name) of the first bytes of a page 0, or None."""
    crc, magic, number, highest, erased, name = struct.unpack_from(BLOCK_FORMAT, head, 0)
    if magic != MAGIC or crc != crc32(bytes(head[4:BLOCK_HEAD])):
        return None
    return number, highest, erased, name


def opened_page(page):
    """Return (kind, number, page of the thing, content) of a page, or None where its crc is wrong."""
    crc, kind, used, number, sequence = struct.unpack_from(HEADER_FORMAT, page, 0)
    if crc != crc32(memoryview(page)[4:PAGE]) or used > ROOM:
        return None
    return kind, number, sequence, bytes(page[HEADER : HEADER + used])
