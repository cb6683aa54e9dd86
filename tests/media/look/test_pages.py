"""What the frame and the parts put on a page, whatever the page."""

from __future__ import annotations

import re
from types import SimpleNamespace

import pytest
from django.template import Context, RequestContext
from django.template.backends.django import DjangoTemplates
from django.test import RequestFactory

from tests.media.look import specimen

SPECIMEN = (specimen.ROOT / "tests/media/look/templates/media/specimen.html").read_text()
pytestmark = pytest.mark.urls(specimen.__name__)
INLINE = re.compile(r"<style|\sstyle=|<script(?![^>]*\ssrc=)|\son[a-z]+=|javascript:|hx-on|hx-vals=['\"]js:", re.I)


def engine():
    """The product's templates without its routes, so that these tests stand on the look alone."""
    return DjangoTemplates({key: value for key, value in specimen.TEMPLATES.items() if key != "BACKEND"}).engine


def rendered(source: str, **values) -> str:
    request = RequestFactory().get("/", {"q": "jar", "after": "old"})
    template = engine().from_string(source)
    return template.render(RequestContext(request, {**specimen.context(), **values}))


@pytest.fixture
def page() -> str:
    return rendered(SPECIMEN)


@pytest.mark.parametrize("bad", ['<a style="x">', "<script>1</script>", '<a onclick="x">', '<i hx-on:click="x">'])
def test_the_search_for_inline_code_catches(bad):
    assert INLINE.search(bad)


def test_a_page_has_no_inline_style_or_script(page):
    assert not INLINE.search(page)


def test_no_template_has_inline_style_or_script():
    for app in ("media", "survey", "treatments"):
        for path in (specimen.ROOT / app).rglob("*.html"):
            assert not INLINE.search(path.read_text()), path


def test_ids_are_unique(page):
    ids = re.findall(r'\sid="([^"]+)"', page)
    assert len(ids) == len(set(ids))


def test_every_reference_to_an_id_is_answered(page):
    ids = set(re.findall(r'\sid="([^"]+)"', page))
    for attribute in ("aria-labelledby", "aria-describedby", "for", "popovertarget"):
        for names in re.findall(rf'\s{attribute}="([^"]+)"', page):
            assert set(names.split()) <= ids, (attribute, names)


def test_the_first_stop_is_the_way_past_the_head(page):
    assert re.search(r'<body[^>]*>\s*<a class="skip unseen" href="#page">', page)
    assert '<main class="page" id="page" tabindex="-1">' in page


def test_one_heading_names_the_page(page):
    assert page.count("<h1>") == 1


def test_do_not_lift_comes_before_the_heading(page):
    assert 0 < page.index("Do not lift") < page.index("<h1>")


def test_every_plot_has_words_and_numbers(page):
    plots = re.findall(r'<svg class="plot[^"]*" role="img".*?</figure>', page, re.S)
    assert len(plots) == 5
    for plot in plots:
        assert re.search(r"<title id=[^>]+>[^<]+</title><desc id=[^>]+>[^<]+</desc>", plot)
        assert "<details" in plot and "<table" in plot


def test_sign_out_is_a_post_with_a_token():
    person = (specimen.ROOT / "media/templates/media/parts/person.html").read_text()
    assert '<form method="post" action="{{ sign_out_href }}">{% csrf_token %}' in person


def test_what_is_empty_is_not_drawn():
    bare = rendered('{% extends "media/base.html" %}{% block heading %}Bare{% endblock %}')
    assert "How this was worked out" not in bare
    assert 'class="answer"' not in bare and 'class="page-actions"' not in bare


def test_what_is_worked_out_is_folded(page):
    assert re.search(r'<details class="fold"><summary>How this was worked out</summary><p>', page)


def test_the_current_way_is_marked_once(page):
    assert len(re.findall(r'<a href="[^"]+" aria-current="page">', page.split("</nav>")[0])) == 1


def test_nobody_signed_in_sees_no_ways():
    stranger = rendered('{% extends "media/base.html" %}', user=SimpleNamespace(is_authenticated=False))
    assert "<nav" not in stranger and "Sign out" not in stranger


def test_hostile_words_stay_words():
    evil = "<script>alert(1)</script>"
    html = rendered(
        "{% do_not_lift evil %}{% symbol 'print' evil %}{% certainty evil 'looked' %}{% shelf_row evil marks %}"
        "{% empty_state 'survey' evil evil evil %}{% wrap 'p' 'answer' %}{{ evil }}{% endwrap %}"
        "{% folded evil %}{{ evil }}{% endfolded %}{% load_bars weeks title=evil %}"
        "{% include 'media/parts/notice.html' with text=evil title=evil %}",
        evil=evil,
        marks=[{"name": evil, "seen": True, "href": evil}],
        weeks=[{"week": evil, "there": 1, "needed": 2}],
    )
    assert "<script" not in html and html.count("&lt;script") >= 12


def test_an_interval_has_its_words():
    html = rendered("{% interval 0.18 0.31 0.47 'before opening' %}")
    assert "<b>31\N{NO-BREAK SPACE}%</b> (18–47) before opening" in html
    assert 'aria-hidden="true"' in html
    assert "not known" in rendered("{% interval None None None %}")


def test_a_plot_without_points_says_so():
    html = rendered(
        "{% fan empty title='F' %}{% readiness empty title='R' %}{% load_bars empty title='L' %}"
        "{% histogram empty empty title='H' %}",
        empty=[],
    )
    assert "<path" not in html and html.count('class="soft"') == 4


def test_a_job_is_polled_only_while_it_runs():
    job = specimen.context()["job"]
    part = '{% include "media/parts/job.html" with job_href="/job" then_href="/result" %}'
    assert 'hx-get="/job"' in rendered(part, job=job)
    assert 'value="0.370"' in rendered(part, job=job)
    ended = rendered(part, job={**job, "ended": True, "state": "done", "saying": ""})
    assert "hx-get" not in ended and 'href="/result"' in ended
    failed = rendered(part, job={**job, "ended": True, "state": "failed", "error": "Row 14 has no number."})
    assert "hx-get" not in failed and "Row 14 has no number." in failed


def test_a_job_of_unknown_length_shows_no_share():
    job = {**specimen.context()["job"], "share": None, "total": None}
    assert re.search(r"<progress[^>]*max=\"1\"></progress>", rendered('{% include "media/parts/job.html" %}', job=job))


def test_more_keeps_the_filters():
    html = rendered('{% include "media/parts/more.html" with page=page colspan=3 %}', page=SimpleNamespace(next="n"))
    assert 'href="?q=jar&amp;after=n"' in html or 'href="?q=jar&after=n"' in html
    assert rendered('{% include "media/parts/more.html" %}', page=SimpleNamespace(next=None)).strip() == ""


def test_a_field_with_a_mistake_says_so_to_everybody(page):
    mistake = re.search(r'<input[^>]*id="id_bound-number"[^>]*>', page)
    assert mistake and 'aria-invalid="true"' in mistake[0]
    assert re.search(r'aria-describedby="[^"]*id_bound-number_error', mistake[0])


def test_error_pages_say_what_happened():
    pages = {"404": "no page here", "403": "somebody else", "403_csrf": "expired", "error": "frozen"}
    for name, words in pages.items():
        html = rendered(f"{{% include '{name}.html' %}}", error={"message": "This assessment is frozen."})
        assert words in html and 'id="what-happened"' in html


def test_the_last_error_page_needs_nothing():
    """500.html is rendered without context or database."""
    template = engine().get_template("500.html")
    assert "Everything saved before it is safe" in template.render(Context())
