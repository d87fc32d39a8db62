"""Readings from files: units declared, bad rows listed with their line, never a traceback."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from domemargin.profiles import InputError
from domemargin.studies.readings.file import read_readings

HEAD = "time,line,machine,depth (mm),lot,operator\n"
GOOD = "2025-03-01T06:00,1,M1,10.21,A,day\n"


def write(folder: Path, text: str | bytes, name: str = "depths.csv") -> Path:
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def test_bad_rows_are_set_aside_with_their_line(tmp_path: Path) -> None:
    rows = [
        "2025-03-01T06:05,1,M1,ten,A,day\n",  # line 3
        "yesterday,1,M1,10.2,A,day\n",
        "\n",  # an empty line is none
        "2025-03-01T06:10,1,M1,102.1,A,day\n",  # line 6
        "2025-03-01T06:15,1,M1\n",
        "2025-03-01T06:20,1,,10.2,A,day\n",
        "2025-03-01T06:25,1,M1,,A,day\n",
        "2025-03-01T06:30,1,M2,10.19,,\n",  # line 10, good
        "2025-03-01T06:35,1,M1,nan,A,day\n",
    ]
    readings = read_readings(write(tmp_path, HEAD + GOOD + "".join(rows)))
    assert len(readings) == 2
    assert readings.machine.names == ("1 M1", "1 M2")
    assert list(readings.file_line) == [2, 10]
    assert [one.line for one in readings.set_aside] == [3, 4, 6, 7, 8, 9, 11]
    reasons = [one.reason for one in readings.set_aside]
    assert "'ten'" in reasons[0]
    assert "'yesterday'" in reasons[1]
    assert "102.1 mm" in reasons[2]
    assert "3 fields" in reasons[3]
    assert reasons[4:6] == ["machine is empty", "depth is empty"]
    assert list(readings.lot.codes) == [0, -1]


# 1 in = 25.4 mm exactly: NIST Special Publication 811 (2008)
@pytest.mark.parametrize(
    ("unit", "value", "mm"), [("in", "0.402", 10.2108), ("um", "10210", 10.21), ("mm", "1e1", 10.0)]
)
def test_units_are_declared(unit: str, value: str, mm: float, tmp_path: Path) -> None:
    text = f"time,machine,Depth [{unit}]\n2025-03-01,M1,{value}\n"
    assert read_readings(write(tmp_path, text)).depth[0] == pytest.approx(mm)


def test_semicolons_with_decimal_commas_and_other_encodings(tmp_path: Path) -> None:
    text = "time;machine;depth (mm)\r\n2025-03-01 06:00;Müller;10,21\r\n"
    for encoding in ("utf-8", "utf-8-sig", "utf-16", "latin-1"):
        readings = read_readings(write(tmp_path, text.encode(encoding)))
        assert readings.depth[0] == 10.21
        assert readings.machine.names[0].startswith("M")


def test_events_springs_and_reversal_tests(tmp_path: Path) -> None:
    text = (
        "machine,time,depth (mm),event,spring age (weeks),reversal (psi)\n"
        "M1,2025-03-02,10.2,,2,91.5\n"
        "M1,2025-03-01,,tool change,,\n"
        "M2,2025-03-03T12:00,10.1,,3,\n"
    )
    readings = read_readings(write(tmp_path, text))
    assert [(one.machine, one.day, one.what) for one in readings.events] == [(0, 0, "tool change")]
    assert list(readings.day) == [1.0, 2.5]
    assert list(readings.spring_age) == [14.0, 21.0]
    # 1 psi = 6894.757 Pa: NIST Special Publication 811 (2008)
    assert readings.reversal[0] == pytest.approx(91.5 * 6894.757e-6)
    assert np.isnan(readings.reversal[1])


def test_parquet(tmp_path: Path) -> None:
    frame = pd.DataFrame({
        "time": pd.to_datetime(["2025-03-01T06:00", "2025-03-01T05:00", None]),
        "machine": ["M1", "M1", "M1"], "depth (mm)": [10.2, np.nan, 10.1],
    })  # fmt: skip
    frame.to_parquet(tmp_path / "depths.parquet")
    readings = read_readings(tmp_path / "depths.parquet")
    assert len(readings) == 1
    assert [one.line for one in readings.set_aside] == [3, 4]
    field = pa.field("depth", pa.float64(), metadata={"unit": "mm"})
    table = pa.table(
        [pa.array(["2025-03-01"]), pa.array(["M1"]), pa.array([10.2])],
        schema=pa.schema([("time", pa.string()), ("machine", pa.string()), field]),
    )
    pq.write_table(table, tmp_path / "other.parquet")
    assert read_readings(tmp_path / "other.parquet").depth[0] == 10.2


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("", "columns"),
        ("depth\n", "columns"),
        ("time,machine,depth\n2025-03-01,M1,10.2\n", "no unit"),
        ("time,machine,depth (psi)\n2025-03-01,M1,10.2\n", "psi"),
        ("time,depth (mm)\n2025-03-01,10.2\n", "'machine'"),
        ("time,machine,depth (mm),depth (in)\n2025-03-01,M1,10.2,0.4\n", "two columns"),
        ("time,machine,depth (mm)\n", "no row"),
        ("time,machine,depth (mm)\n2025-03-01,M1,deep\n", "line 2"),
        (HEAD + '2025-03-01,1,"M1,10.2', "no row"),
        (bytes(range(256)) * 20, "no text"),
        (b"\x89PNG\r\n\x1a\n" + bytes(200), "columns"),
    ],
)
def test_a_file_that_cannot_be_used_is_one_sentence(
    text: str | bytes, named: str, tmp_path: Path
) -> None:
    with pytest.raises(InputError) as caught:
        read_readings(write(tmp_path, text))
    assert named in str(caught.value)
    assert "\n" not in str(caught.value)


def test_files_that_are_not_there_or_of_another_kind(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        read_readings(tmp_path / "nowhere.csv")
    with pytest.raises(InputError, match="cannot be read"):
        read_readings(tmp_path)
    with pytest.raises(InputError, match="no Parquet file"):
        read_readings(write(tmp_path, GOOD, "depths.parquet"))


@pytest.mark.parametrize("seed", range(40))
def test_mangled_files_never_end_in_anything_else(seed: int, tmp_path: Path) -> None:
    rng = random.Random(seed)
    raw = bytearray((HEAD + GOOD * 30).encode())
    for _ in range(rng.randrange(1, 60)):
        place = rng.randrange(len(raw))
        kind = rng.randrange(3)
        if kind == 0:
            raw[place] = rng.randrange(256)
        elif kind == 1:
            del raw[place : place + rng.randrange(1, 30)]
        else:
            raw[place:place] = rng.choice([b"\n", b",", b'"', b"\0", b"\r\n", b";;", b"\xff"])
        raw = raw or bytearray(b"x")
    try:
        readings = read_readings(write(tmp_path, bytes(raw)))
    except InputError:
        return  # a sentence
    lines = bytes(raw).count(b"\n") + bytes(raw).count(b"\r") + 1
    assert len(readings) + len(readings.set_aside) <= lines
    assert all(np.isfinite(readings.depth))
