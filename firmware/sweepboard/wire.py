"""The wire between board and host: the only definition, used by both ends.

Runs on MicroPython and on CPython. docs/reference/wire.md describes it in full.

A frame is 0x00, a COBS-stuffed message, 0x00. Because it both starts and ends with 0x00, text that the
board prints (a boot banner, a traceback) can never merge with one.

A message is a header, a payload and the CRC-32 of both, little-endian throughout:

    u8 type | u8 protocol | u16 sequence | u32 record index | payload | u32 crc

`sequence` counts the messages of one sender and wraps at 2**16. `record index` is the index of the window that
the message belongs to (for RECORDS: of its first record); it wraps at 2**32, after 49 days at 1004 records/s.

COBS: Cheshire and Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking 7(2), 1999.
"""

import binascii
import struct

PROTOCOL = 1

# --- message types, board to host
HELLO = 0x01  # JSON object: what this board and rig are
REPLY = 0x02  # JSON object: {"id", "ok": true, ...} or {"id", "ok": false, "error", "reason"}
RECORDS = 0x10  # whole records of RECORD_SIZE bytes
SLOW = 0x11  # slow readings, SLOW_FORMAT each
SNAPSHOT = 0x12  # SNAPSHOT_FORMAT, then raw conversions, u16 each, channels interleaved
GAP = 0x13  # GAP_FORMAT: windows that are missing, from the header's index on
STATUS = 0x14  # STATUS_FORMAT: the board's own counts
HISTOGRAM = 0x15  # HISTOGRAM_FORMAT, then u32 counts
MARK = 0x16  # MARK_FORMAT: a button of the rig was pressed at this record
KEPT = (
    0x17  # pages of a sweep kept on the board, whole as they stand there; the index is that of the first page
)

# --- message types, host to board
COMMAND = 0x80  # JSON object: {"id", "cmd", ...}
ALIVE = 0x81  # no payload: the host is there; streaming stops without it

HEADER_FORMAT = "<BBHI"
HEADER_SIZE = 8
CRC_SIZE = 4
MAX_MESSAGE = 4096  # bytes, header and CRC included; a longer one is not ours

# --- records
CHANNEL_NAMES = ("signal A", "signal B", "supply")
SIGNAL_A, SIGNAL_B, SUPPLY = 0, 1, 2
CHANNELS = 3
CODES = 4096  # of the converter
CODE_MASK = CODES - 1
MOST_WINDOW = 0xFFFFFFFF // CODE_MASK  # conversions whose sum a record can hold
WINDOW = 166  # conversions of each channel in one window of the fast source
CONVERSION_HZ = 500_000  # of the fast source, all channels together: 48 MHz / 96
CHANNEL_FIELDS = (("sum", "I"), ("min", "H"), ("max", "H"))  # of one channel's conversions
PLACE_FIELDS = (("position", "H"), ("flags", "H"))  # behind the channels
CHANNEL_FORMAT = "<" + "".join([code for _, code in CHANNEL_FIELDS])
PLACE_FORMAT = "<" + "".join([code for _, code in PLACE_FIELDS])
RECORD_FORMAT = "<" + CHANNELS * CHANNEL_FORMAT[1:] + PLACE_FORMAT[1:]
CHANNEL_SIZE = struct.calcsize(CHANNEL_FORMAT)
PLACE_AT = CHANNELS * CHANNEL_SIZE
RECORD_SIZE = struct.calcsize(RECORD_FORMAT)
NO_POSITION = 0xFFFF
RECORDS_PER_PACKET = 16

FLAG_CONVERSIONS_LOST = 0x0001  # conversions of this window were lost; its numbers are of those that came
FLAG_CONVERSION_ERROR = 0x0002  # the converter marked one of this window's conversions as bad
FLAG_SPLICE = 0x0004  # first window after sampling was stopped and started again
FLAG_SUPPLY_ON = 0x0008  # the rig feeds the sensor
FLAG_SUPPLY_FAULT = 0x0010  # the sensor's supply was cut: over-current or short
FLAG_BURDEN_ON = 0x0020
FLAG_BIAS_ON = 0x0040
FLAG_BUTTON = 0x0080  # the rig's button is down

# --- outputs of a rig, as its switches and a simulated one tell them; not sent
OUT_SUPPLY, OUT_BURDEN, OUT_BIAS_UP, OUT_BIAS_DOWN, OUT_TAPPED = 1, 2, 4, 8, 16

# --- slow readings: u8 quantity, u8 status (0 good), u16 reserved, i32 value
SLOW_FORMAT = "<BBHi"
SLOW_SIGNAL_A = 1  # microvolts at the monitor's input node, for 1 to 5
SLOW_SIGNAL_B = 2
SLOW_SUPPLY = 3
SLOW_GROUND = 4  # sensor ground against rig ground
SLOW_BATTERY = 5
SLOW_TEMPERATURE = 6  # of the board, millidegrees Celsius
SLOW_SUPPLY_CURRENT = 7  # microamperes into the sensor

# --- snapshots: u16 index of the first conversion inside the header's window, u16 index of the one that
#     triggered inside the snapshot, u8 channels, u8 channel that triggered, u16 count of conversions
SNAPSHOT_FORMAT = "<HHBBH"
SNAPSHOT_SIZE = 8

# --- gaps: u32 windows missing, u8 reason, u8 reserved, u16 reserved
GAP_FORMAT = "<IBBH"
GAP_HOST_SLOW = 1  # the host did not take the bytes in time
GAP_OVERRUN = 2  # the converter's FIFO overran
GAP_DMA_LATE = 3  # a buffer was not taken away in time
GAP_RESTART = 4  # sampling was stopped and started by command

# --- status: u32 windows made, u32 windows sent, u32 windows dropped, u32 conversions lost,
#     u32 conversions in error, u32 bad commands, u32 free bytes, u8 streaming, u8 reset cause, u16 reserved
STATUS_FORMAT = "<IIIIIIIBBH"

# --- histogram: u8 channel, u8 reserved, u16 first code, u32 windows counted
HISTOGRAM_FORMAT = "<BBHI"
HISTOGRAM_SIZE = 8

# --- marks: u8 button, u8 reserved, u16 count of presses
MARK_FORMAT = "<BBH"

KEEP_ALIVE_MS = 3000  # the board stops streaming when it has heard nothing for this long
ALIVE_EVERY_MS = 500  # how often the host speaks up


def crc32(data):
    """CRC-32 (ISO 3309) of `data`; of b"123456789" it is 0xCBF43926."""
    return binascii.crc32(data) & 0xFFFFFFFF


def stuff_into(out, start, data, n):
    """Write the COBS form of `data[:n]` into `out` from `start`; return the index after it. Allocates nothing."""
    code_at = start
    pos = start + 1
    code = 1
    i = 0
    while i < n:
        byte = data[i]
        i += 1
        if byte:
            out[pos] = byte
            pos += 1
            code += 1
        if byte == 0 or (code == 0xFF and i < n):
            out[code_at] = code
            code_at = pos
            pos += 1
            code = 1
    out[code_at] = code
    return pos


def stuffed_size(n):
    """Return the largest size of `n` bytes after stuffing."""
    return n + n // 254 + 1


def unstuff(data):
    """Return the message in one stuffed run of bytes, or None where it is not COBS."""
    out = bytearray()
    n = len(data)
    i = 0
    while i < n:
        code = data[i]
        end = i + code
        if code == 0 or end > n:
            return None
        out += data[i + 1 : end]
        i = end
        if code < 0xFF and i < n:
            out.append(0)
    return bytes(out)


def finish_frame(out, message, n, stuff=stuff_into):
    """Put the CRC after `message[:n]` and its frame into `out`; return the frame's length.

    `message` needs n + CRC_SIZE bytes, `out` needs stuffed_size(n + CRC_SIZE) + 2.
    """
    struct.pack_into("<I", message, n, crc32(memoryview(message)[:n]))
    out[0] = 0
    end = stuff(out, 1, message, n + CRC_SIZE)
    out[end] = 0
    return end + 1


def encode(kind, sequence, index, payload=b"", protocol=PROTOCOL):
    """Return the frame of one message. For the hot path see finish_frame."""
    n = HEADER_SIZE + len(payload)
    message = bytearray(n + CRC_SIZE)
    struct.pack_into(HEADER_FORMAT, message, 0, kind, protocol, sequence & 0xFFFF, index & 0xFFFFFFFF)
    message[HEADER_SIZE:n] = payload
    out = bytearray(stuffed_size(n + CRC_SIZE) + 2)
    return bytes(memoryview(out)[: finish_frame(out, message, n)])


def open_message(stuffed):
    """Return (kind, protocol, sequence, index, payload) of what stood between two zeros, or None."""
    message = unstuff(stuffed)
    if message is None or not HEADER_SIZE + CRC_SIZE <= len(message) <= MAX_MESSAGE:
        return None
    if crc32(message[:-CRC_SIZE]) != struct.unpack("<I", message[-CRC_SIZE:])[0]:
        return None
    kind, protocol, sequence, index = struct.unpack(HEADER_FORMAT, message[:HEADER_SIZE])
    return kind, protocol, sequence, index, message[HEADER_SIZE:-CRC_SIZE]


class Splitter:
    """Cuts a stream of bytes into what stands between zeros. Meant for the board's slow input."""

    def __init__(self, limit=MAX_MESSAGE + 64):
        self._run = bytearray()
        self._limit = limit

    def feed(self, data):
        """Take bytes; return a list of the runs that ended, empty ones left out."""
        *ended, rest = bytes(data).split(b"\0")
        done = []
        for part in ended:
            if self._run:  # it began in bytes before
                self._add(part)
                part = bytes(self._run)  # noqa: PLW2901
                self._run = bytearray()
            if 0 < len(part) <= self._limit:
                done.append(part)
        self._add(rest)
        return done

    def _add(self, part):
        room = self._limit + 1 - len(self._run)
        if part and room > 0:
            self._run += part[:room]
