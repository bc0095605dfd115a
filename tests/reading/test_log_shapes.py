"""Logs in every shape that apps export: which columns, which units, which clock."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from spinlab.errors import InputError, UnreadableRecording
from spinlab.reading import read
from tests.reading.logtext import GRAVITY, shaken, strongest_hz, write_rows

RATE_HZ = 100.0
TONE_HZ = 12.0


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return tmp_path / "log.csv"


def assert_shaken(path: Path, **options: object) -> None:
    recording = read(path, **options)
    assert recording.kind == "acceleration"
    assert recording.channel_names == ("x", "y", "z")
    assert recording.rate_hz == pytest.approx(RATE_HZ, rel=1e-4)
    assert strongest_hz(recording.samples[0], recording.rate_hz) == pytest.approx(TONE_HZ, abs=0.01)
    still = recording.samples[:, : round(3 * RATE_HZ)]
    assert np.linalg.norm(still.mean(axis=1)) == pytest.approx(GRAVITY, rel=0.002)
    assert recording.samples[0].std() > 10 * recording.samples[1].std()


@pytest.mark.parametrize(
    ("header", "separator", "decimal"),
    [
        ("t,x,y,z", ",", "."),
        ("time;x;y;z", ";", ","),
        (
            "Time (s)\tAcceleration x (m/s^2)\tAcceleration y (m/s^2)\tAcceleration z (m/s^2)",
            "\t",
            ",",
        ),
        ("Zeit [s];ax [m/s²];ay [m/s²];az [m/s²]", ";", ","),
        ("seconds_elapsed,accel_x,accel_y,accel_z", ",", "."),
        ('"time","x","y","z"', ",", "."),
        ("", ",", "."),
        ("", " ", "."),
        ("# t x y z", " ", "."),
    ],
)
def test_columns_are_found_whatever_separates_and_names_them(
    log: Path, header: str, separator: str, decimal: str
) -> None:
    columns = shaken(RATE_HZ, 20)
    assert_shaken(write_rows(log, columns, header=header, separator=separator, decimal=decimal))


def test_noise_lines_before_the_header_and_a_line_of_units_are_passed_over(log: Path) -> None:
    header = "# sensor log, version 3\nDevice: none\nDate: 2024-05-01, 12:00\n\nt;x;y;z\ns;g;g;g"
    columns = shaken(RATE_HZ, 20)
    columns[1:] /= GRAVITY
    assert_shaken(write_rows(log, columns, header=header, separator=";"))


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "latin-1"])
def test_a_byte_order_mark_or_an_old_encoding_does_no_harm(log: Path, encoding: str) -> None:
    header = "t (s),x (m/s²),y (m/s²),z (m/s²)"
    assert_shaken(write_rows(log, shaken(RATE_HZ, 20), header=header, encoding=encoding))


def test_a_broken_last_line_is_left_out_and_remarked(log: Path) -> None:
    write_rows(log, shaken(RATE_HZ, 20), header="t,x,y,z", after="20.01,0.3,")
    assert_shaken(log)
    assert any("do not fit the table: 1" in remark.what for remark in read(log).remarks)


@pytest.mark.parametrize(
    ("unit", "factor", "header"),
    [
        ("s", 1.0, "t,x,y,z"),
        ("ms", 1e3, "t,x,y,z"),
        ("us", 1e6, "t,x,y,z"),
        ("ns", 1e9, "t,x,y,z"),
        ("ms", 1e3, "Millis,X,Y,Z"),
        ("us", 1e6, "time_us,x,y,z"),
        ("ns", 1e9, "timestamp (ns),x,y,z"),
        ("ms although it says seconds", 1e3, "time (s),x,y,z"),
    ],
)
def test_the_unit_of_time_is_told_by_its_label_or_its_steps(
    log: Path, unit: str, factor: float, header: str
) -> None:
    columns = shaken(RATE_HZ, 20)
    columns[0] *= factor
    assert_shaken(write_rows(log, columns, header=header))
    assert any("only make sense" in r.what for r in read(log).remarks) == ("although" in unit)


@pytest.mark.parametrize("factor", [1.0, 1e3, 1e6, 1e9])
def test_a_clock_since_1970_is_counted_from_the_first_row_and_said(
    log: Path, factor: float
) -> None:
    columns = shaken(RATE_HZ, 20)
    columns[0] = (1.7145e9 + columns[0]) * factor
    assert_shaken(write_rows(log, columns, header="time,x,y,z"))
    recording = read(log)
    assert recording.start_s == pytest.approx(0.0, abs=0.01)
    assert any("was already at" in remark.what for remark in recording.remarks)


def test_a_log_that_was_cut_keeps_the_times_of_its_own_clock(log: Path) -> None:
    columns = shaken(RATE_HZ, 20)
    columns[0] += 12.5
    assert read(write_rows(log, columns, header="t,x,y,z")).start_s == pytest.approx(12.5, abs=1e-3)


@pytest.mark.parametrize(
    "form",
    [
        lambda t: t.strftime("%Y-%m-%dT%H:%M:%S.%f") + "Z",
        lambda t: t.strftime("%Y-%m-%d %H:%M:%S.%f")[:-3],
        lambda t: t.strftime("%Y-%m-%dT%H:%M:%S.%f") + "+02:00",
        lambda t: t.strftime("%H:%M:%S.%f"),
    ],
)
def test_iso_8601_times_are_read_even_across_midnight(log: Path, form: object) -> None:
    begin = datetime(2024, 5, 1, 23, 59, 50, tzinfo=UTC).timestamp()
    write_rows(
        log,
        shaken(RATE_HZ, 20),
        header="timestamp,x,y,z",
        stamp=lambda t: form(datetime.fromtimestamp(begin + t, tz=UTC)),
    )
    assert_shaken(log)


@pytest.mark.parametrize(
    ("header", "scale"),
    [
        ("t,x,y,z", GRAVITY),
        ("t,x,y,z", 1.0),
        ("t,x,y,z", GRAVITY / 1e3),
        ("t,x (g),y (g),z (g)", GRAVITY),
        ("t,gFx,gFy,gFz", GRAVITY),
        ("t,x [mg],y [mg],z [mg]", GRAVITY / 1e3),
    ],
)
def test_the_unit_of_acceleration_is_told_by_its_label_or_by_gravity(
    log: Path, header: str, scale: float
) -> None:
    columns = shaken(RATE_HZ, 20)
    columns[1:] /= scale
    assert_shaken(write_rows(log, columns, header=header))


def test_raw_counts_are_scaled_so_that_the_still_part_is_gravity_and_it_is_said(log: Path) -> None:
    columns = shaken(RATE_HZ, 20)
    columns[1:] *= 4096 / GRAVITY
    assert_shaken(write_rows(log, columns, header="t,x,y,z", digits=4))
    assert any("the still part reads 409" in remark.what for remark in read(log).remarks)


def test_the_user_may_state_the_unit_and_that_settles_it(log: Path) -> None:
    columns = shaken(RATE_HZ, 20)
    columns[3] -= GRAVITY
    columns[1:] /= GRAVITY
    write_rows(log, columns, header="t,x,y,z")
    assert any("not stated" in remark.what for remark in read(log).remarks)
    stated = read(log, acceleration_unit="g")
    assert not any("not stated" in remark.what for remark in stated.remarks)
    assert stated.samples[0].std() == pytest.approx(2 / np.sqrt(2) * np.sqrt(0.8), rel=0.02)


def test_rows_of_several_sensors_are_told_apart(log: Path) -> None:
    time, *axes = shaken(RATE_HZ, 20)
    lines = ["Millis,Sensor,X,Y,Z"]
    for k, (t, x, y, z) in enumerate(zip(time, *axes, strict=True)):
        lines.append(f"{1e3 * t:.0f},A,{x / GRAVITY:.5f},{y / GRAVITY:.5f},{z / GRAVITY:.5f}")
        lines.append(f"{1e3 * t + 5:.0f},G,{1.7},{-0.6 + k % 3},{0.1}")
        if k % 10 == 0:
            lines.append(f"{1e3 * t + 7:.0f},M,-9.3,36.9,-25.8")
    log.write_text("\n".join(lines))
    assert_shaken(log)


def test_rows_of_numbered_sensors_are_told_apart_by_gravity(log: Path) -> None:
    time, *axes = shaken(RATE_HZ, 20)
    lines = ["time,sensor,x,y,z"]
    for t, x, y, z in zip(time, *axes, strict=True):
        lines += [f"{t:.4f},4,0.01,0.02,0.03", f"{t:.4f},1,{x:.5f},{y:.5f},{z:.5f}"]
    log.write_text("\n".join(lines))
    assert_shaken(log)


def test_gyroscope_and_magnetometer_columns_are_left_alone(log: Path) -> None:
    columns = shaken(RATE_HZ, 20)
    other = np.ones((3, columns.shape[1])) * np.array([[3.0], [5.0], [7.0]])
    wide = np.vstack([columns[:1], other, columns[1:], other])
    header = "time,gyro_x,gyro_y,gyro_z,acc_x,acc_y,acc_z,mag_x,mag_y,mag_z"
    assert_shaken(write_rows(log, wide, header=header))


def test_cells_left_empty_where_another_sensor_spoke_are_passed_over(log: Path) -> None:
    time, *axes = shaken(RATE_HZ, 20)
    lines = ["time,acc_x,acc_y,acc_z,gyro_x,gyro_y,gyro_z"]
    for t, x, y, z in zip(time, *axes, strict=True):
        lines.append(f"{t:.4f},{x:.5f},{y:.5f},{z:.5f},,,")
        lines += [f"{t + 0.002 * k:.4f},,,,0.1,0.2,0.3" for k in (1, 2, 3)]
    log.write_text("\n".join(lines))
    assert_shaken(log)


def test_readings_with_gravity_are_preferred_to_those_that_the_phone_freed_of_it(log: Path) -> None:
    columns = shaken(RATE_HZ, 20)
    freed = columns[1:] - np.array([[0.0], [0.0], [GRAVITY]])
    wide = np.vstack([columns[:1], freed, columns[1:]])
    header = "time,user_acc_x,user_acc_y,user_acc_z,acc_x,acc_y,acc_z"
    assert_shaken(write_rows(log, wide, header=header))


def test_a_magnitude_alone_is_one_channel(log: Path) -> None:
    columns = shaken(RATE_HZ, 20)
    norm = np.linalg.norm(columns[1:], axis=0)
    path = write_rows(log, np.vstack([columns[:1], norm]), header="time,magnitude")
    recording = read(path)
    assert recording.channel_names == ("magnitude",)
    assert recording.samples[0, :300].mean() == pytest.approx(GRAVITY, rel=0.002)


def test_numbers_without_times_need_a_stated_rate(tmp_path: Path) -> None:
    path = tmp_path / "plate.txt"
    columns = shaken(RATE_HZ, 20)[1:3]
    write_rows(path, columns, separator="\t")
    with pytest.raises(InputError, match=r"no time column.*state the samples per second"):
        read(path)
    recording = read(path, rate_hz=RATE_HZ)
    assert recording.rate_hz == RATE_HZ
    assert strongest_hz(recording.samples[0], RATE_HZ) == pytest.approx(TONE_HZ, abs=0.01)


def test_a_table_with_one_column_is_refused_without_a_rate(log: Path) -> None:
    log.write_text("\n".join(f"{k % 7}.5" for k in range(500)))
    with pytest.raises(InputError, match="no time column"):
        read(log)


def test_a_table_of_times_alone_is_refused(log: Path) -> None:
    log.write_text("time\n" + "\n".join(f"{k / 100:.2f}" for k in range(500)))
    with pytest.raises(UnreadableRecording, match="without an acceleration column"):
        read(log)
