"""Files of climate loggers as they come: delimiters, decimals, units, dates, gaps, nonsense."""

from __future__ import annotations

import io
from datetime import UTC, datetime

import numpy as np
import pytest

from survey.risk.logger_files import read_file
from survey.risk.logger_layout import Layout, LoggerFileError, guess_layout
from survey.risk.stamps import Clock, guess_order, read_clock, read_date

LATEST = int(datetime(2026, 3, 2, tzinfo=UTC).timestamp())


def file_of(text: str, encoding: str = "utf-8") -> io.BytesIO:
    return io.BytesIO(text.encode(encoding))


def read(text: str, encoding: str = "utf-8", **changes):
    file = file_of(text, encoding)
    layout = guess_layout(file).layout
    return read_file(file, Layout(**{**layout.__dict__, **changes}), latest=LATEST)


def moments(readings) -> list[str]:
    return [str(np.datetime64(int(second), "s")) for second in readings.seconds]


PLAIN = "Date,Temperature (°C),RH (%)\n2024-01-01 00:00,20.0,50\n2024-01-01 01:00,21.5,48\n"


def test_a_plain_file():
    got = read(PLAIN)
    assert moments(got) == ["2024-01-01T00:00:00", "2024-01-01T01:00:00"]
    assert got.temperature.tolist() == [20.0, 21.5] and got.humidity.tolist() == [50.0, 48.0]
    assert (got.counts["rows"], got.counts["readings"], got.interval) == (2, 2, 3600)


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        ("Datum;Uhrzeit;Temperatur [°C];rel. Feuchte [%]\n01.02.2024;00:00;20,0;50,5\n01.02.2024;00:15;21,5;48\n",
         "cp1252"),
        ("Date/Time\tTemp C\tHumidity\n2024-02-01T00:00:00Z\t20.0\t50.5\n2024-02-01T00:15:00Z\t21.5\t48\n", "utf-16"),
        ('"#","Date Time, GMT+00:00","Temp, °C","RH, %"\n1,02/01/24 12:00:00 AM,20.0,50.5\n'
         "2,02/01/24 12:15:00 AM,21.5,48\n",
         "utf-8-sig"),
        ('Name: store 4\nSerial;123\n\nZeit;T (°C);rF (%);Taupunkt\n2024-02-01 00:00;"20,0";"50,5";9\n'
         '2024-02-01 00:15;"21,5";48;9\n', "utf-8"),
        ("Time,Dew point (°C),Temperature (°C),Humidity (%RH)\n1 Feb 2024 00:00,9,20,50.5\n"
         "1 Feb 2024 00:15,9,21.5,48\n",
         "utf-8"),
    ],
    ids=["semicolons and commas", "tabs and a zone", "month first, am", "lines about itself", "named months"],
)  # fmt: skip
def test_the_ways_in_which_loggers_write(text, encoding):
    got = read(text, encoding, **({"order": "mdy"} if "AM" in text else {}))
    assert moments(got) == ["2024-02-01T00:00:00", "2024-02-01T00:15:00"]
    assert got.temperature.tolist() == [20.0, 21.5] and got.humidity.tolist() == [50.5, 48.0]


def test_fahrenheit_is_told_by_the_heading_and_turned_into_celsius():
    """32 °F is 0 °C, 68 °F is 20 °C: NIST Special Publication 811, appendix B.8."""
    got = read("When,Temp (°F),RH %\n2024-01-01 00:00,68,50\n2024-01-01 01:00,32,50\n")
    assert got.temperature.tolist() == pytest.approx([20.0, 0.0])


def test_degrees_without_a_unit_are_guessed_and_said():
    guess = guess_layout(file_of("When,Temp,RH\n2024-01-01 00:00,68,50\n2024-01-01 01:00,70,50\n"))
    assert guess.layout.fahrenheit and "Celsius or Fahrenheit" in " ".join(guess.unsure)
    assert not guess_layout(file_of("When,Temp,RH\n2024-01-01 00:00,18,50\n2024-01-01 01:00,19,50\n")).layout.fahrenheit


def test_wrong_values_are_refused_row_by_row_with_the_reason():
    text = (
        PLAIN + "2024-01-01 02:00,200,50\n2024-01-01 03:00,20,140\n2024-13-01 04:00,20,50\n2024-01-01 05:00,warm,50\n"
    )
    text += "2031-01-01 06:00,20,50\n2024-01-01 07:00,20\n"
    text += "".join(f"2024-01-01 {hour:02}:00,19,51\n" for hour in range(8, 12))
    got = read(text)
    told = dict(got.refused)
    assert set(told) == {4, 5, 6, 7, 8, 9} and got.counts["refused"] == 6
    assert "200 °C is none of a room" in told[4] and "140 % cannot be" in told[5]
    assert "no day as" in told[6] and "“warm” is no number" in told[7]
    assert "still to come" in told[8] and "too short" in told[9]
    assert got.counts["readings"] == 6 and got.temperature.max() < 22


def test_two_hundred_fahrenheit_is_no_room_either():
    text = "When,Temp (°F),RH %\n2024-01-01 00:00,68,50\n2024-01-01 01:00,200,50\n2024-01-01 02:00,68,50\n"
    assert [row for row, _ in read(text).refused] == [3]


def test_what_the_logger_missed_is_no_fault_and_a_wet_sensor_is_wet():
    got = read(PLAIN + "2024-01-01 02:00,--,--\n2024-01-01 03:00,20,\n2024-01-01 04:00,20,101.5\n")
    assert (got.counts["missed"], got.counts["refused"], got.counts["wet"]) == (2, 0, 1)
    assert got.humidity[-1] == 100.0


def test_out_of_order_and_repeated_moments():
    """The hour that clocks repeat in autumn is counted once."""
    got = read(PLAIN + "2023-12-31 23:00,19,50\n2024-01-01 01:00,30,50\n")
    assert moments(got)[0] == "2023-12-31T23:00:00" and np.all(np.diff(got.seconds) > 0)
    assert got.counts["repeated"] == 1 and got.temperature.max() == 21.5


def test_gaps_longer_than_two_days_are_told():
    got = read(PLAIN + "2024-01-02 23:00,20,50\n2024-01-09 00:00,20,50\n")
    assert [(str(np.datetime64(a, "s")), str(np.datetime64(b, "s"))) for a, b in got.gaps()] == [
        ("2024-01-02T23:00:00", "2024-01-09T00:00:00")
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a,b,c\n1,2,3\n", "No row of headings"),
        ("", "empty"),
        ("Date,Temp (°C),RH\n", "No row of headings"),
        ("Date,Temp (°C),RH\n2024-01-01 00:00,20,50\n", "fewer than two"),
        ("Date,Temp (°C),RH\n" + "".join(f"2024-01-01 {h:02}:00,{400 + h},50\n" for h in range(9)), "More rows are"),
        ('{"readings": [{"t": 20}]}', "JSON"),
    ],
)  # fmt: skip
def test_what_is_no_file_of_readings_is_refused_in_one_line(text, said):
    with pytest.raises(ValueError, match=said) as caught:
        read(text)
    assert "\n" not in str(caught.value)


def test_a_workbook_is_refused_with_what_to_do():
    with pytest.raises(LoggerFileError, match="CSV"):
        guess_layout(io.BytesIO(b"PK\x03\x04" + b"\0" * 100))


def test_a_line_without_an_end_is_refused_before_it_is_read_whole():
    with pytest.raises(LoggerFileError, match="a million characters"):
        guess_layout(file_of(PLAIN + "x" * 2_500_000))


def test_bytes_of_nothing_in_particular_never_raise_but_in_one_line():
    rng = np.random.default_rng(3)
    for _ in range(60):
        soup = bytes(rng.integers(0, 256, int(rng.integers(1, 3000)), dtype=np.uint8))
        try:
            guess_layout(io.BytesIO(b"Date,Temp,RH\n" + soup))
        except ValueError as error:
            assert "\n" not in str(error)


class TestDates:
    @pytest.mark.parametrize(
        ("texts", "order", "sure"),
        [
            (["2024-01-02"], "ymd", True),
            (["13/02/2024"], "dmy", True),
            (["02/13/2024"], "mdy", True),
            (["01/02/24", "02/02/24", "03/02/24", "04/02/24"], "dmy", False),
            (["02/01/24", "02/02/24", "02/03/24", "02/04/24"], "mdy", False),
        ],
    )
    def test_day_and_month_are_told_apart_where_they_can_be(self, texts, order, sure):
        assert guess_order(texts) == (order, sure)

    @pytest.mark.parametrize("text", ["31.02.2024", "1.1.1800", "yesterday", "12/2024", "0/0/2024"])
    def test_a_day_that_is_none_is_refused(self, text):
        with pytest.raises(ValueError, match="“"):
            read_date(text, "dmy")

    @pytest.mark.parametrize(
        ("text", "seconds"),
        [("0:00", 0), ("12:00 AM", 0), ("12:30 pm", 45_000), ("23:59:59.5", 86_399), ("24:00", 86_400),
         ("06:00+02:00", 21_600)],
    )  # fmt: skip
    def test_times_of_day(self, text, seconds):
        assert read_clock(text) == seconds

    @pytest.mark.parametrize("text", ["25:00", "12:60", "13:00 pm", "24:30", "noon", ""])
    def test_a_time_that_is_none_is_refused(self, text):
        with pytest.raises(ValueError, match="no time of day"):
            read_clock(text)

    def test_a_stamp_in_one_piece_and_apart(self):
        clock = Clock("dmy")
        assert clock.seconds("01/02/2024 06:00") == clock.seconds("1 Feb 2024, 6:00 am") == 1_706_767_200


def test_a_layout_that_names_a_column_twice_or_none_is_refused():
    layout = guess_layout(file_of(PLAIN)).layout
    for changes in ({"humidity": 1}, {"temperature": 9}, {"stamp": -1}, {"order": "dym"}, {"decimal": ";"}):
        with pytest.raises(ValueError, match="choose"):
            Layout.of({**layout.as_saved(), **changes})
    assert Layout.of(layout.as_saved()) == layout
