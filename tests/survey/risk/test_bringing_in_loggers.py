"""Files of loggers: taken in, looked through, counted, taken back; and the pages of places that they speak for."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from media.base import jobs
from media.base.errors import Clash, FettleError
from media.base.models import JobState
from media.models import Event, Job
from survey.models import LoggedMonth, LoggerFile, Place
from survey.risk.ageing import SITE_CLIMATES, rate_of_readings, relative_rate
from survey.risk.db.selectors.climate import Constants, kept_at, rates_of
from survey.risk.db.selectors.loggers import stored
from survey.risk.db.services import loggers as services
from survey.risk.parameters import read
from tests import builders

PAGE = "/settings/climate/"
SHIPPED = read({})


@pytest.fixture
def store(db) -> Place:
    return builders.a_place(kind="room", name="North store")


def text_of(days: int = 400, *, start: str = "2024-01-01", temperature: float = 25.0, humidity: float = 60.0) -> str:
    first = date.fromisoformat(start)
    when = [f"{first + timedelta(days=n)} {hour:02}:00" for n in range(days) for hour in (0, 12)]
    rows = [f"{moment},{temperature},{humidity}" for moment in when]
    return "Date,Temperature (°C),RH (%)\n" + "\n".join(rows) + "\n"


def take_in(text: str, store: Place, name: str = "store.csv") -> LoggerFile:
    return services.receive(iter([text.encode()]), name, place=store, by=None, at=builders.NOW)


def looked_through(done, text: str, store: Place, stays=None, **reading) -> LoggerFile:
    made = take_in(text, store)
    wanted = {**made.reading, **reading}
    done(lambda: services.look_through(made, reading=wanted, stays=stays or [(store, None)], by=None, at=builders.NOW))
    made.refresh_from_db()
    return made


def counted(done, text: str, store: Place, **options) -> LoggerFile:
    return services.count(looked_through(done, text, store, **options), by=None, at=builders.NOW)


def span(start: str, end: str) -> np.ndarray:
    return np.array([[[start, end]]], dtype="datetime64[D]")


def test_from_upload_to_counting_by_the_pages(conservator, done, store):
    upload = SimpleUploadedFile("north.csv", text_of().encode())
    answer = conservator.post(f"{PAGE}files/new/", {"file": upload, "place": store.pk})
    made = LoggerFile.objects.get()
    assert answer["Location"] == f"{PAGE}files/{made.pk}/" and stored(made.sha256).read_bytes() == text_of().encode()
    page = conservator.get(answer["Location"])
    assert "read rightly" in page.content.decode() and not LoggedMonth.objects.exists()
    form = page.context["form"]
    data = {field.html_name: field.value() for field in form if field.value() is not None} | {"place": store.pk}
    done(lambda: conservator.post(answer["Location"], data))
    page = conservator.get(answer["Location"]).content.decode()
    assert "800 readings" in page and "It does not count yet" in page and "North store" in page
    nothing = rates_of([store.pk], span("2024-02-01", "2025-01-01"), SHIPPED)
    assert nothing == pytest.approx(SITE_CLIMATES["heated"].rate())
    conservator.post(f"{PAGE}files/{made.pk}/count/")
    here = rates_of([store.pk], span("2024-02-01", "2025-01-01"), SHIPPED)
    # 25 °C and 60 %: the multiplier 0.39649 of the table made from Michalski 2002.
    assert here == pytest.approx(1 / 0.39649, rel=2e-5)
    assert list(Event.objects.order_by("pk").values_list("verb", flat=True)) == [
        "received",
        "reading chosen",
        "counted",
    ]


def test_what_was_read_is_kept_as_sums_that_come_to_the_rate_of_the_readings(done, store):
    rng = np.random.default_rng(5)
    days = np.arange(0, 300, 0.25)
    temperature, humidity = rng.uniform(10, 30, days.size).round(2), rng.uniform(30, 80, days.size).round(1)
    stamps = (np.datetime64("2024-01-01") + (days * 86400).astype("timedelta64[s]")).astype(str)
    rows = (f"{at},{t},{h}" for at, t, h in zip(stamps, temperature, humidity, strict=True))
    made = counted(done, "When,Temp °C,RH %\n" + "\n".join(rows) + "\n", store)
    assert LoggedMonth.objects.count() == 10 and made.counts["readings"] == days.size
    for energy, exponent in ((100e3, 1.3), (70e3, 1.0), (144.7e3, 1.4)):
        want = rate_of_readings(days, temperature, humidity, activation_energy=energy, humidity_exponent=exponent).rate
        kept = kept_at([store.pk], SHIPPED, Constants(energy, exponent))
        whole = kept.rates(span("2024-01-01", "2024-10-27"))
        assert whole == pytest.approx(want, rel=5e-3)  # the last month is filled from its readings, to the day


def test_a_logger_that_was_moved_speaks_for_each_place_in_its_time(done, store):
    cool = builders.a_place(kind="room", name="Vault")
    text = text_of(60, temperature=25.0) + text_of(60, start="2024-03-01", temperature=10.0).partition("\n")[2]
    stays = [(store, None), (None, date(2024, 2, 20)), (cool, date(2024, 3, 1))]
    counted(done, text, store, stays=stays)
    warm_months = LoggedMonth.objects.filter(place=store).order_by("month")
    assert [month.month for month in warm_months] == [date(2024, 1, 1), date(2024, 2, 1)]
    assert warm_months.last().readings == 19 * 2
    assert set(LoggedMonth.objects.filter(place=cool).values_list("temperature_high", flat=True)) == {10.0}


def test_coming_back_to_the_same_place_within_a_month_adds_up(done, store):
    other = builders.a_place(kind="room", name="Bench")
    stays = [(store, None), (other, date(2024, 1, 10)), (store, date(2024, 1, 20))]
    counted(done, text_of(31), store, stays=stays)
    assert LoggedMonth.objects.get(place=store).readings == (9 + 12) * 2


def test_refused_rows_are_shown_with_their_reason(conservator, done, store):
    text = text_of(5) + "2024-01-06 00:00,200,60\n"
    made = looked_through(done, text, store)
    page = conservator.get(f"{PAGE}files/{made.pk}/").content.decode()
    assert made.counts["refused"] == 1 and "200 °C is none of a room" in page and ">12<" in page


def test_a_file_that_is_no_readings_is_kept_as_refused_with_why(conservator, store):
    upload = SimpleUploadedFile("list.csv", b"a,b,c\n1,2,3\n")
    answer = conservator.post(f"{PAGE}files/new/", {"file": upload, "place": store.pk}, follow=True)
    assert "No row of headings names a temperature" in answer.content.decode()
    assert LoggerFile.objects.get().state == "refused"


def test_a_file_read_with_the_wrong_unit_says_so_and_can_be_read_again(conservator, done, store):
    made = looked_through(done, text_of(30, temperature=70.0).replace("(°C)", "(deg)"), store, fahrenheit=False)
    assert made.state == "looked" and made.counts["refused"] == 0  # 70 °C could be a case in the sun
    made = looked_through(done, text_of(30, temperature=90.0).replace("(°C)", "(deg)"), store, fahrenheit=False)
    assert made.state == "received" and "More rows are refused" in made.error
    page = conservator.get(f"{PAGE}files/{made.pk}/").content.decode()
    assert "More rows are refused" in page and "Celsius or Fahrenheit" in page
    done(lambda: services.look_through(made, reading={**made.reading, "fahrenheit": True}, stays=[(store, None)],
                                       by=None, at=builders.NOW))  # fmt: skip
    made.refresh_from_db()
    warmest = LoggedMonth.objects.filter(file=made).first().temperature_high
    assert made.state == "looked" and warmest == pytest.approx((90 - 32) / 1.8, abs=0.01)


def test_taking_back_asks_then_undoes_the_whole(conservator, done, store):
    made = counted(done, text_of(), store)
    before = rates_of([store.pk], span("2024-02-01", "2025-01-01"), SHIPPED)
    assert "Take store.csv back?" in conservator.get(f"{PAGE}files/{made.pk}/take-back/").content.decode()
    conservator.post(f"{PAGE}files/{made.pk}/take-back/")
    after = rates_of([store.pk], span("2024-02-01", "2025-01-01"), SHIPPED)
    assert after == pytest.approx(SITE_CLIMATES["heated"].rate()) and after != pytest.approx(before)
    conservator.post(f"{PAGE}files/{made.pk}/count/")
    assert rates_of([store.pk], span("2024-02-01", "2025-01-01"), SHIPPED) == pytest.approx(before)


def test_a_file_that_counted_is_never_put_away(done, store):
    made = counted(done, text_of(), store)
    services.take_back(made, by=None, at=builders.NOW)
    with pytest.raises(Clash, match="record stays"):
        services.discard(made, by=None, at=builders.NOW)


def test_putting_away_removes_the_content_unless_another_file_has_the_same(done, store):
    one, other = take_in(text_of(), store), take_in(text_of(), store, "again.csv")
    assert one.sha256 == other.sha256
    done(lambda: services.discard(one, by=None, at=builders.NOW))
    assert stored(other.sha256).exists()
    done(lambda: services.discard(other, by=None, at=builders.NOW))
    assert not stored(other.sha256).exists()


def test_the_same_file_does_not_count_twice(done, store):
    counted(done, text_of(), store)
    again = looked_through(done, text_of(), store)
    with pytest.raises(Clash, match="count twice"):
        services.count(again, by=None, at=builders.NOW)
    elsewhere = looked_through(done, text_of(), store, stays=[(builders.a_place(kind="room"), None)])
    services.count(elsewhere, by=None, at=builders.NOW)


def test_two_loggers_in_one_room_count_as_their_mean(done, conservator, store):
    counted(done, text_of(temperature=15.0, humidity=50.0), store)
    second = looked_through(done, text_of(temperature=25.0, humidity=50.0), store)
    assert "counts in 14 of the same months" in conservator.get(f"{PAGE}files/{second.pk}/").content.decode()
    services.count(second, by=None, at=builders.NOW)
    # Half 15 °C, half 25 °C: mean rate 1.24028, worked by hand.
    assert rates_of([store.pk], span("2024-02-01", "2025-01-01"), SHIPPED) == pytest.approx(1.24028, abs=5e-6)


def test_a_shelf_goes_by_the_room_and_an_own_class_by_itself(done, store):
    shelf = builders.a_place(parent=store)
    cellar = builders.a_place(kind="bay", parent=store, climate="cellar")
    lone = builders.a_place(kind="room", climate="attic")
    counted(done, text_of(temperature=20.0, humidity=50.0), store)
    days = np.repeat(span("2024-02-01", "2025-01-01"), 4, axis=0)
    got = rates_of([shelf.pk, cellar.pk, lone.pk, None], days, SHIPPED)[:, 0]
    assert got == pytest.approx([1.0, 1.0, SITE_CLIMATES["attic"].rate(), SITE_CLIMATES["heated"].rate()])
    past = np.repeat(span("1990-01-01", "2000-01-01"), 4, axis=0)
    old = rates_of([shelf.pk, cellar.pk, lone.pk, None], past, SHIPPED)[:, 0]
    heated = SITE_CLIMATES["heated"].rate()
    assert old == pytest.approx([heated, SITE_CLIMATES["cellar"].rate(), SITE_CLIMATES["attic"].rate(), heated])


def test_rates_cost_the_same_queries_for_one_place_and_for_fifty(done, store, django_assert_num_queries):
    counted(done, text_of(), store)
    places = [builders.a_place(parent=store).pk for _ in range(50)]
    for some in (places[:1], places):
        with django_assert_num_queries(3):
            kept_at(some, SHIPPED)


def test_looking_through_killed_midway_begins_again_and_counts_once(done, store):
    made = looked_through(done, text_of(), store)
    months = LoggedMonth.objects.count()
    Job.objects.filter(pk=made.job_id).update(state=JobState.QUEUED, cursor="")
    jobs.run(made.job_id)
    assert LoggedMonth.objects.count() == months


@pytest.mark.parametrize(
    ("stays", "said"),
    [
        ([], "where the logger stood"),
        ([(None, None)], "where the logger stood"),
        ([("store", None), ("store", date(2024, 5, 1)), ("store", date(2024, 2, 1))], "one later than the other"),
        ([("store", None), ("store", None)], "its day"),
    ],
)
def test_stays_that_cannot_be_are_refused(store, stays, said):
    made = take_in(text_of(5), store)
    where = [(store if place else None, day) for place, day in stays]
    with pytest.raises(FettleError, match=said):
        services.look_through(made, reading=made.reading, stays=where, by=None, at=builders.NOW)
    assert not Job.objects.exists()


def test_a_reading_that_names_no_column_is_refused_beside_it(conservator, store):
    made = take_in(text_of(5), store)
    columns = {"stamp": 0, "clock": -1, "temperature": 1, "humidity": 1}
    data = {**columns, "unit": "c", "decimal": ".", "order": "ymd", "place": store.pk}
    answer = conservator.post(f"{PAGE}files/{made.pk}/", data)
    assert answer.status_code == 422 and "choose a different column" in answer.content.decode()


def test_the_page_of_a_place_shows_years_range_gaps_and_sensitivity(conservator, done, store):
    text = text_of(60, temperature=30.0) + text_of(100, start="2025-02-01", temperature=30.0).partition("\n")[2]
    counted(done, text, store)
    page = conservator.get(f"{PAGE}places/{store.pk}/")
    shown = page.context["shown"]
    assert [line.year for line in shown.years] == [2024, 2025]
    assert shown.gaps == [(date(2024, 3, 1), date(2025, 1, 1))]
    assert all(line.low < line.usual < line.high for line in shown.years)
    text = page.content.decode()
    assert "<svg" in text and "144.7" in text and "Months not logged" in text
    warm = relative_rate(30.0, 60.0, activation_energy=144_700.0, humidity_exponent=1.4)
    assert shown.ahead[2] < warm  # most of the year is not logged, and goes by the class


def test_the_class_of_a_place_is_set_by_hand(conservator, store):
    address = f"{PAGE}places/{store.pk}/"
    assert "no class is set" in conservator.get(address).content.decode()
    conservator.post(f"{address}class/", {"climate": "cellar"})
    store.refresh_from_db()
    assert store.climate == "cellar" and "cellar or vault" in conservator.get(address).content.decode()
    assert conservator.post(f"{address}class/", {"climate": "moon"}).status_code == 422
    assert Event.objects.filter(subject_kind="survey.place").exists()


@pytest.mark.parametrize("who", ["reader", "surveyor"])
def test_others_read_and_change_nothing(request, who, done, store):
    client = request.getfixturevalue(who)
    made = counted(done, text_of(40), store)
    for address in ("", f"places/{store.pk}/", "files/", f"files/{made.pk}/"):
        page = client.get(f"{PAGE}{address}")
        assert page.status_code == 200 and "Bring in a logger" not in page.content.decode()
    assert client.get(f"{PAGE}files/new/").status_code == 403
    for address in ("count", "take-back", "put-away"):
        assert client.post(f"{PAGE}files/{made.pk}/{address}/").status_code == 403
    assert client.post(f"{PAGE}files/{made.pk}/", {}).status_code == 400
    assert client.post(f"{PAGE}places/{store.pk}/class/", {"climate": "cellar"}).status_code == 403


@pytest.mark.parametrize("address", ["", "files/"])
def test_lists_cost_the_same_for_one_row_and_for_fifty(conservator, done, store, address):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            assert conservator.get(f"{PAGE}{address}").status_code == 200
        return len(seen)

    made = counted(done, text_of(40), store)
    one = queries()
    for n in range(50):
        builders.a_place(kind="room", parent=store if n % 2 else None)
        LoggerFile.objects.create(file_name=f"{n}.csv", sha256=made.sha256, size=1, received_at=builders.NOW)
    assert queries() == one


def test_a_place_that_readings_name_is_not_deleted(conservator, done, store):
    counted(done, text_of(40), store)
    conservator.post(f"/places/{store.pk}/delete/")
    assert Place.objects.filter(pk=store.pk).exists()


def test_a_file_larger_than_is_taken_is_refused_and_leaves_nothing(store, monkeypatch, settings):
    monkeypatch.setattr(services, "MOST_BYTES", 100)
    with pytest.raises(FettleError, match="split it"):
        take_in(text_of(), store)
    assert not LoggerFile.objects.exists() and not list(Path(settings.UPLOADS, "loggers").iterdir())
