"""Exports read back by readers that are not ours.

CSV: Python's csv module and pandas, by RFC 4180. JSON: jsonschema. MDF: the block layout of ASAM MDF 4.1 (from
memory, no public text at hand) read with struct alone, and asammdf.
"""

from __future__ import annotations

import csv
import io
import json
import struct
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from support import outcomes as oc
from support.report_cases import cases, two_tracks, with_angle
from sweeprig.bench.review.result import schema
from sweeprig.bench.review.review import review_capture
from sweeprig.bench.review.sheets import check_targets, target_of, write_files
from sweeprig.capture.csv_file import read_csv
from sweeprig.errors import ExportError, InputError
from sweeprig.report.exports import csv_text, write_csv, write_mdf
from sweeprig.twin.capture import capture_of
from sweeprig.twin.sensors import sensor_names

HALF_DIGIT_V = 0.5001e-7  # of the last decimal of a cell


def test_csv_by_rfc_4180() -> None:
    text = csv_text(two_tracks().trace)
    assert text.endswith("\r\n")
    assert "\n" not in text.replace("\r\n", "")
    rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert {len(r) for r in rows} == {len(rows[0])}
    assert rows[0][:2] == ["time_s", "signal_v"]
    assert all(name.endswith(("_s", "_v", "_deg", "_before")) for name in rows[0])
    assert len(rows) == 1 + 5000


def test_csv_by_pandas(tmp_path: Path) -> None:
    pandas = pytest.importorskip("pandas")
    out = with_angle()
    write_csv(out, tmp_path / "a.csv")
    table = pandas.read_csv(tmp_path / "a.csv")
    trace = out.trace
    for name, wanted in (
        ("signal_v", trace.signal_a.mean_v),
        ("signal_min_v", trace.signal_a.min_v),
        ("signal_max_v", trace.signal_a.max_v),
        ("supply_v", trace.supply.mean_v),
    ):
        assert np.abs(table[name].to_numpy() - wanted).max() <= HALF_DIGIT_V
    assert np.abs(table["angle_deg"].to_numpy() - trace.angle_deg).max() <= 0.5001e-4
    assert np.abs(table["time_s"].to_numpy() - trace.t_s).max() <= 0.5001e-9
    assert table["missing_before"].sum() == 0


def test_csv_by_our_own_reader(tmp_path: Path) -> None:
    out = two_tracks()
    write_csv(out, tmp_path / "a.csv")
    back = read_csv(tmp_path / "a.csv")
    assert np.abs(back.signal_a.mean_v - out.trace.signal_a.mean_v).max() <= HALF_DIGIT_V
    assert back.signal_b is not None
    assert np.abs(back.signal_b.mean_v - out.trace.signal_b.mean_v).max() <= HALF_DIGIT_V
    assert back.supply is not None
    assert back.n_lost == 0


@pytest.mark.parametrize("sensor", sensor_names())
def test_every_simulated_sensor_comes_back_from_its_csv(sensor: str, tmp_path: Path) -> None:
    trace = review_capture(capture_of(sensor, seed=1)).trace
    (tmp_path / "a.csv").write_bytes(csv_text(trace).encode())
    back = read_csv(tmp_path / "a.csv")
    assert np.array_equal(back.gap_before, trace.gap_before)
    for name in ("signal_a", "signal_b", "supply"):
        was, is_ = getattr(trace, name), getattr(back, name)
        assert (was is None) == (is_ is None), name
        for part in ("mean_v", "min_v", "max_v") if was is not None else ():
            assert np.abs(getattr(is_, part) - getattr(was, part)).max() <= HALF_DIGIT_V, (name, part)


def test_csv_shows_gaps_and_leaves_unknown_cells_empty(tmp_path: Path) -> None:
    out = cases()["vehicle"]
    trace = replace(out.trace, ground_v=np.full(out.trace.t_s.size, np.nan))
    rows = list(csv.DictReader(io.StringIO(csv_text(trace), newline="")))
    assert [i for i, r in enumerate(rows) if r["missing_before"] == "1"] == [1500, 3600]
    assert rows[0]["ground_v"] == ""
    write_csv(replace(out, trace=trace), tmp_path / "a.csv")
    assert read_csv(tmp_path / "a.csv").gap_before.sum() == 2


def test_a_table_without_windows_has_no_minima() -> None:
    trace = replace(oc.make_trace(), n_per_window=1)
    assert csv_text(trace).splitlines()[0] == "time_s,signal_v,supply_v,missing_before"


# --- MDF


def _block(data: bytes, at: int) -> tuple[bytes, tuple[int, ...], bytes]:
    """Return name, links and payload of a block: `##XX`, 4 reserved, u64 length, u64 count of links, links, data."""
    name, length, n = struct.unpack_from("<4s4xQQ", data, at)
    links = struct.unpack_from(f"<{n}Q", data, at + 24)
    return name, links, data[at + 24 + 8 * n : at + length]


def _text(data: bytes, at: int) -> str:
    return _block(data, at)[2].split(b"\0")[0].decode() if at else ""


def _plain_mdf(data: bytes) -> dict[str, np.ndarray]:
    """Return the channels of the first group of an uncompressed file whose records are not split."""
    assert data[:8] == b"MDF     "
    assert data[8:16].rstrip(b" \0") == b"4.10"
    name, links, _ = _block(data, 64)
    assert name == b"##HD"
    _, (_, group_at, data_at, _), _ = _block(data, links[0])
    _, group, payload = _block(data, group_at)
    _, n_records, _, _, _, size, n_bad = struct.unpack_from("<QQHHIII", payload)
    assert n_bad == 0
    kind, _, records = _block(data, data_at)
    assert kind == b"##DT"
    raw = np.frombuffer(records, np.uint8).reshape(n_records, size)
    found, at = {}, group[1]
    while at:
        _, links, payload = _block(data, at)
        _, _, data_type, _, byte_at, n_bits = struct.unpack_from("<BBBBII", payload)
        kind = {4: "<f", 0: "<u"}[data_type]
        part = np.ascontiguousarray(raw[:, byte_at : byte_at + n_bits // 8])
        found[_text(data, links[2])] = part.view(f"{kind}{n_bits // 8}").ravel()
        at = links[0]
    return found


def test_mdf_by_its_block_layout(tmp_path: Path) -> None:
    out = oc.outcome(worn=True)
    write_mdf(out, tmp_path / "a.mf4")
    found = _plain_mdf((tmp_path / "a.mf4").read_bytes())
    trace = out.trace
    assert np.array_equal(found.pop("time"), trace.t_s)
    assert np.array_equal(found.pop("signal_v"), trace.signal_a.mean_v)
    assert np.array_equal(found.pop("signal_min_v"), trace.signal_a.min_v)
    assert np.array_equal(found.pop("signal_max_v"), trace.signal_a.max_v)
    assert np.array_equal(found.pop("supply_v"), trace.supply.mean_v)
    assert set(found) == {"supply_min_v", "supply_max_v", "missing_before"}


def test_mdf_by_asammdf(tmp_path: Path) -> None:
    from asammdf import MDF

    out = two_tracks()
    write_mdf(out, tmp_path / "a.mf4")
    with MDF(tmp_path / "a.mf4") as mdf:
        assert mdf.version == "4.10"
        signal = mdf.get("signal_b_v")
        assert signal.unit == "V"
        assert np.array_equal(signal.samples, out.trace.signal_b.mean_v)
        assert np.array_equal(signal.timestamps, out.trace.t_s)
        assert mdf.header.start_time.isoformat() == "2031-03-04T10:15:00+00:00"
        assert oc.SHA in mdf.header.comment


def test_hostile_text_does_not_break_an_mdf(tmp_path: Path) -> None:
    from asammdf import MDF

    write_mdf(cases()["hostile"], tmp_path / "a.mf4")
    with MDF(tmp_path / "a.mf4") as mdf:
        assert mdf.get("signal_v").samples.size == 5000


# --- files


def test_json_keeps_its_schema(tmp_path: Path) -> None:
    for name in ("good", "worn", "wiggle", "vehicle"):
        (path,) = write_files(cases()[name], tmp_path / f"{name}.sweep", ("json",))
        data = json.loads(path.read_text(encoding="utf-8"), parse_constant=pytest.fail)
        jsonschema.Draft202012Validator(schema()).validate(data)


def test_an_argument_that_is_not_utf8_can_be_exported(tmp_path: Path) -> None:
    out = oc.outcome(reason="caf\udce9", job="caf\udce9")
    paths = write_files(out, tmp_path / "a.sweep", ("html", "csv", "json"))
    assert [p.name for p in paths] == ["a.html", "a.csv", "a.json"]
    json.loads(paths[2].read_text(encoding="utf-8"))


def test_an_export_never_falls_onto_its_source(tmp_path: Path) -> None:
    source = tmp_path / "a.csv"
    source.write_text("time_s,signal_v\n0,1\n1,2\n")
    assert target_of(source, "csv", None) == tmp_path / "a-export.csv"
    assert target_of(source, "csv", tmp_path / "out") == tmp_path / "out" / "a.csv"


def test_two_sources_never_share_a_target(tmp_path: Path) -> None:
    one, two = tmp_path / "x" / "a.sweep", tmp_path / "y" / "a.sweep"
    check_targets([one, two], None, ("html",))
    with pytest.raises(InputError, match="same place"):
        check_targets([one, two], tmp_path, ("html",))


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("")
    with pytest.raises(ExportError, match=r"cannot be written.*Next: name another folder"):
        write_csv(oc.outcome(), blocked / "a.csv")


def test_no_half_file_stays_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "a.csv"
    target.write_bytes((old := "time_s,signal_v,missing_before\r\n").encode())

    def full(self: Path, data: bytes) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(ExportError, match="No space left"):
        write_csv(oc.outcome(), target)
    assert [p.name for p in tmp_path.iterdir() if p.name != "home"] == ["a.csv"]
    assert target.read_bytes() == old.encode()


def test_a_missing_library_says_how_to_get_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import sys

    monkeypatch.setitem(sys.modules, "asammdf", None)
    with pytest.raises(ExportError, match=r"pip install 'sweeprig\[mdf\]'"):
        write_mdf(oc.outcome(), tmp_path / "a.mf4")
