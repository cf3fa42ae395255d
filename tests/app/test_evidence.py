"""The evidence sheet says the same in HTML, PDF and JSON, and what it says is what was measured.

The HTML is read with the standard library's parser, the PDF with pypdf: both are foreign to what wrote them.
"""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pulsewright.errors import EvidenceError
from pulsewright.opening import open_session
from pulsewright.review import Marker, Review, SheetView
from pulsewright.session import Channel, Session
from pulsewright.settings import Settings, layered
from pulsewright_analysis.assessment import Assessment, assess, assessed
from pulsewright_analysis.findings import measure
from pulsewright_analysis.results import Findings
from pulsewright_app.evidence.building import sheet_of
from pulsewright_app.evidence.part_tables import session_facts
from pulsewright_app.evidence.sheet import Sheet
from pulsewright_app.evidence.writing import as_html, as_json, as_pdf
from pulsewright_app.inputs import open_with_settings
from pulsewright_app.samples import sample
from pulsewright_app.sentences import SETTINGS, sentences

from .evidence_reading import TOKEN, Reader, exact, numbers, packed, parsed, pdf_text, spaced, strings

REVIEW = Review(
    left_out={5: "The plate was touched by hand", 6: "The same"},
    flags={3, 14},
    notes={3: "The pump ran", 20: "Quiet again"},
    markers=[
        Marker(15e-6, 3e-8, 1, "test pulse to echo", "H01", 2),
        Marker(204e-6, 2e-8, 1, "test pulse to echo", "H01", 2),
        Marker(204e-6, 3e-8, 2, "three stops", "H01", 2, 3),
        Marker(234e-6, 2e-8, 2, "three stops", "H01", 2, 3),
    ],
    sheet_views=[
        SheetView("single", 14, "H02", "The clipped echo", time=(150e-6, 340e-6), reference="mean"),
        SheetView("single", 14, "H02", "Two on one axis", visible=("H01", "H10"), lanes=False, reference=13),
        SheetView("stacked", 10, "H01", "Neighbours"),
        SheetView("afterglow", 10, "H07", "By polarity", inks="polarity", time=(0.0, 40e-6)),
        SheetView("afterglow", 10, "H01", "By the pulse", aligned_by="pulse", filter="polarity negative"),
        SheetView("map", 10, "H10", "Upside down", filter="polarity positive"),
    ],
)


@dataclass(frozen=True)
class Made:
    """A sheet of the sample with faults in every form."""

    assessment: Assessment
    sheet: Sheet
    html: bytes
    pdf: bytes
    json: dict[str, Any]
    page: Reader
    pdf_text: str


@pytest.fixture(scope="module")
def made() -> Made:
    given = open_with_settings(sample("tank_faults.h5"))
    assert given.claims is not None
    with given.session as session:
        settings = layered(None, REVIEW.measuring_settings(), given.claims.settings)
        assessment = assess(session, settings, sha256=given.sha256, claims=given.claims, review=REVIEW)
        sheet = sheet_of(assessment, session, REVIEW, date="25 November 2026", by="A. Person")
    body = json.loads(json.dumps(as_json(sheet, assessment), allow_nan=False))
    html, pdf = as_html(sheet), as_pdf(sheet)
    return Made(assessment, sheet, html, pdf, body, Reader(html.decode("utf-8")), pdf_text(pdf))


def test_the_numbers_of_the_html_are_those_of_the_json(made: Made) -> None:
    behind = Counter((exact(number), spaced(number["text"])) for number in numbers(made.json["sheet"]))
    assert len(behind) > 100
    assert Counter(made.page.data) == behind


def test_no_number_stands_in_the_html_alone(made: Made) -> None:
    known = {token for text in strings(made.json["sheet"]) for token in TOKEN.findall(text)}
    known |= {str(claim["number"]) for claim in made.json["sheet"]["claims"]}
    known |= {str(picture.number) for picture in made.sheet.all_pictures}
    assert set(TOKEN.findall(made.page.text)) <= known


def test_the_pdf_says_every_text_of_the_sheet(made: Made) -> None:
    text = packed(made.pdf_text)
    kept = {**made.json["sheet"], "outcome": ""}
    for picture in (*kept["pictures"], *kept["views"], *(p for c in kept["claims"] for p in c["pictures"])):
        picture["description"] = ""  # said to those who cannot see the figure
    kinds = {claim["kind"] for claim in kept["claims"]}
    told = [words for words in strings(kept) if words not in kinds]
    assert len(told) > 400
    missing = [words for words in told if packed(words) not in text]
    assert missing == []


def test_no_number_stands_in_the_pdf_alone(made: Made) -> None:
    known = {token for text in strings(made.json["sheet"]) for token in TOKEN.findall(text)}
    known |= {str(number) for number in range(1, 31)}  # pages, claims, figures
    sha = made.assessment.findings.session.sha256
    text = made.pdf_text.replace("\u00a0", " ").replace(sha, "").replace(sha[:16], "")
    # a number that a narrow column broke in two is looked for whole
    whole = packed("".join(strings(made.json["sheet"])))
    assert {token for token in TOKEN.findall(text) if token not in known and token not in whole} == set()


def test_a_rounded_number_is_the_exact_one_to_its_last_digit(made: Made) -> None:
    checked = 0
    for number in numbers(made.json["sheet"]):
        quantity = number.get("quantity")
        if quantity is None or "interval" in number["text"]:
            continue
        told = parsed(spaced(number["text"]))
        value, last = told[0]
        if len(told) == 2:
            low, high = quantity["interval95"]
            half, _ = told[1]
            # U has two significant digits, and the value ends where they do (JCGM 100:2008, 7.2.6)
            last = 0.5 * 10.0 ** (np.floor(np.log10(half)) - 1)
            assert half == pytest.approx((high - low) / 2, abs=1.001 * last), number
        assert value == pytest.approx(quantity["value"], abs=1.001 * last), number
        checked += 1
    assert checked > 40


def test_the_skews_are_those_that_were_measured(made: Made) -> None:
    rows = {row[0]: row for row in made.json["sheet"]["skews"]["rows"]}
    for entry in made.json["findings"]["alignment"]["channels"]:
        if entry["channel"] != made.json["findings"]["alignment"]["reference"]:
            assert rows[entry["channel"]][2]["quantity"] == entry["skew"]


def test_every_claim_is_there_with_its_verdict_its_k_and_its_budget(made: Made) -> None:
    parts, claims = made.json["sheet"]["claims"], made.json["findings"]["claims"]
    assert [part["name"] for part in parts] == [claim["name"] for claim in claims]
    assert [part["verdict"] for part in parts] == [claim["verdict"] for claim in claims]
    assert {part["shape"] for part in parts} == {"●", "▲", "◇"}
    for part, claim in zip(parts, claims, strict=True):
        if claim["measured"] is None:
            continue
        facts = dict(part["facts"])
        low, high = claim["measured"]["interval95"]
        assert part["measured"]["quantity"] == claim["measured"]
        assert facts["u"]["value"] == claim["measured"]["u"]
        assert facts["k"]["value"] == pytest.approx((high - low) / 2 / claim["measured"]["u"])
        # JCGM 100:2008, 5.1.2: the squares of independent terms add up to u²
        *terms, combined = part["budget"]["rows"]
        assert np.hypot.reduce([term[1]["value"] for term in terms]) == pytest.approx(combined[1]["value"])
        assert combined[1]["value"] == pytest.approx(claim["measured"]["u"])
        assert part["method"]
        assert part["pictures"] or part["shown_in"]


def test_the_records_that_speak_against_a_claim_are_named(made: Made) -> None:
    (kept,) = [claim for claim in made.sheet.claims if claim.kind == "no_missed_trigger"]
    assert kept.records == "The records that speak against it: 8, 22."
    assert kept.records in made.page.text


def test_the_sheet_has_all_findings_that_the_desk_shows(made: Made) -> None:
    """The desk lists `sentences(findings)`; what is not told in words stands in a table or with its claim."""
    page, pdf = packed(made.page.text), packed(made.pdf_text)
    told = [s for s in sentences(made.assessment.findings) if s.group != SETTINGS]
    claimed = [verdict.measured for verdict in made.assessment.verdicts]
    for sentence in told:
        numbers_of_it = [sentence.text]
        if sentence.group.endswith("channel by channel"):
            numbers_of_it = TOKEN.findall(sentence.text)
        elif sentence.quantity is not None and sentence.quantity in claimed:
            numbers_of_it = [sentence.quantity.in_words]
        for part in numbers_of_it:
            assert packed(part) in page, sentence
            assert packed(part) in pdf, sentence


def test_who_when_and_the_digest_stand_on_it(made: Made) -> None:
    for words in ("25 November 2026", "A. Person", made.assessment.findings.session.sha256, "Signature"):
        assert words in made.page.text
        assert packed(words) in packed(made.pdf_text)


def test_what_the_reviewer_added_stands_on_it(made: Made) -> None:
    page = made.page.text
    for words in ("The plate was touched by hand", "The pump ran", "test pulse to echo", "189.000 ± 0.071 µs"):
        assert words in page
    assert [view.svg != "" for view in made.sheet.views] == [True] * 6
    assert "Filter: polarity negative." in page


def test_the_first_page_says_what_was_taken_out_of_the_measuring(made: Made) -> None:
    facts = dict(made.sheet.session)
    assert facts["Left out"] == "2 records: 5, 6"
    assert "Rejected" not in facts and "Measured" not in facts
    settings = layered(None, {"records": "0:5", "rejected_pulses": [[2, "H01", 1220], [3, "H02", 1300]]})
    with open_session(sample("tank_faults.h5")) as session:
        facts = dict(session_facts(session, replace(made.assessment.findings, settings=settings)))
    assert (facts["Measured"], facts["Rejected"]) == ("records 0 to 4", "2 pulses")


def test_every_setting_is_listed_with_where_it_came_from(made: Made) -> None:
    rows = made.json["sheet"]["settings"]["rows"]
    assert len(rows) == len(made.json["findings"]["settings"])
    by_name = {row[0]: row for row in rows}
    assert by_name["Records left out"][1:] == ["5, 6", "review"]
    assert by_name["Pulses looked for in"][1:] == ["190 µs .. 330 µs", "claims file"]
    assert all(not row[0].islower() or row[0].startswith("u of") for row in rows), "a setting without words"


def test_the_html_asks_nothing_of_anybody(made: Made) -> None:
    page = made.page
    assert not {"script", "link", "iframe", "object", "embed", "form", "base"} & {tag for tag, _ in page.tags}
    for tag, attributes in page.tags:
        for name, value in attributes.items():
            assert not name.startswith("on"), (tag, name)
            if name in ("src", "href", "xlink:href", "data"):
                assert (value or "").startswith(("#", "data:image/png;base64,")), (tag, name, value)
    text = made.html.decode("utf-8")
    assert "url(" not in text.replace("url(#", "")
    assert "@import" not in text


def test_no_two_elements_share_a_name_and_every_reference_has_its_aim(made: Made) -> None:
    names = [attributes["id"] for _, attributes in made.page.tags if "id" in attributes]
    assert len(names) == len(set(names))
    aims = {
        v[1:] for _, attributes in made.page.tags for n, v in attributes.items() if "href" in n and v and v[0] == "#"
    }
    assert aims <= set(names)


def test_figures_are_vectors_with_words_for_who_cannot_see_them(made: Made) -> None:
    drawings = [attributes for tag, attributes in made.page.tags if tag == "svg"]
    assert len(drawings) == len(made.sheet.all_pictures) >= 12
    described = [attributes["aria-label"] for _, attributes in made.page.tags if attributes.get("role") == "img"]
    assert all(described)
    for kind in ("positions", "skew"):
        (picture,) = [p for p in made.sheet.all_pictures if p.caption.lower().startswith(("pulse " + kind[:8], kind))]
        assert "<image" not in picture.svg


def test_the_same_is_written_in_the_same_way(made: Made) -> None:
    with open_with_settings(sample("tank_faults.h5")).session as session:
        again = sheet_of(made.assessment, session, REVIEW, date="25 November 2026", by="A. Person")
    assert as_html(again) == made.html
    assert as_pdf(again) == made.pdf


# -- text from files is text -----------------------------------------------------------------------------------------

HOSTILE = (
    '<script>alert("1")</script>',
    "</style><img src=x onerror=alert(1)>",
    "{{ 7 * 7 }}{% raw %}",
    "#emph[x] $frac(1, 2)$ *bold* `raw` @label // comment",
    r"\u{1F600} \ #import \"x.typ\": *",
    "$\\frac{1}{0$",
    "<!-- --> ]]> &amp; &lt;",
)


@pytest.fixture(scope="module")
def hostile() -> tuple[Sheet, bytes, bytes]:
    channels = [Channel(text, HOSTILE[-i - 1], scale=1e-4) for i, text in enumerate(HOSTILE)]
    random = np.random.default_rng(1)
    samples = random.integers(-20, 20, (4, len(HOSTILE), 256)).astype(np.int16)
    session = Session.from_samples(
        samples, channels, 1e6, 10, title=HOSTILE[0], notes=HOSTILE[3], origin=HOSTILE[1], created=HOSTILE[2]
    )
    review = Review(
        notes={1: HOSTILE[4]},
        left_out={2: HOSTILE[6]},
        markers=[Marker(1e-5, 1e-7, 1, HOSTILE[5], HOSTILE[0]), Marker(3e-5, 1e-7, 1, HOSTILE[5], HOSTILE[0])],
        sheet_views=[SheetView("single", 0, HOSTILE[1], HOSTILE[0]), SheetView("map", 0, "none", HOSTILE[2])],
    )
    findings = measure(session, layered(None, review.measuring_settings()))
    sheet = sheet_of(Assessment(findings), session, review, date=HOSTILE[3], by=HOSTILE[1])
    return sheet, as_html(sheet), as_pdf(sheet)


def test_text_from_files_is_never_html(hostile: tuple[Sheet, bytes, bytes]) -> None:
    page = Reader(hostile[1].decode("utf-8"))
    assert not {"script", "img"} & {tag for tag, _ in page.tags}
    assert sum(tag == "style" for tag, _ in page.tags) == 1
    for text in HOSTILE:
        assert spaced(text) in page.text


def test_text_from_files_is_never_typst(hostile: tuple[Sheet, bytes, bytes]) -> None:
    text = packed(pdf_text(hostile[2]))
    for words in HOSTILE:
        assert packed(words) in text


def test_a_view_that_cannot_be_drawn_says_why(hostile: tuple[Sheet, bytes, bytes]) -> None:
    drawn, undrawn = hostile[0].views
    assert drawn.svg and not undrawn.svg
    assert "This view cannot be drawn: the session has no channel 'none'" in Reader(hostile[1].decode()).text


def test_hidden_letters_are_shown() -> None:
    from pulsewright_app.evidence.numbers import readable

    # U+202E turns the direction of writing: "H01" could be made to look like "10H"
    assert readable("a\u202eb\x00c\x1b[31m") == "a\ufffdb\ufffdc\ufffd[31m"


def test_a_letter_without_a_font_does_not_vanish_from_the_pdf(quiet: tuple[Session, Findings]) -> None:
    session, findings = quiet
    # U+12000, a cuneiform sign: a machine that has a font for it draws it, any other writes its code
    text = pdf_text(as_pdf(sheet_of(Assessment(findings), session, by="Tank \U00012000 и Ω")))
    assert "Tank [U+12000] и Ω" in text or "Tank \U00012000 и Ω" in text


def test_the_pdf_can_be_read_aloud(made: Made) -> None:
    """PDF/UA-1 (ISO 14289-1) wants a title, a language, tags, and words for every figure."""
    import io

    from pypdf import PdfReader

    root = PdfReader(io.BytesIO(made.pdf)).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"] and "/StructTreeRoot" in root
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert b"pdfuaid" in root["/Metadata"].get_data()


# -- only from what was measured now -------------------------------------------------------------------------------


@pytest.fixture
def quiet() -> tuple[Session, Findings]:
    channels = [Channel("H01", "M1", scale=1e-4), Channel("H02", "M1", scale=1e-4)]
    samples = np.random.default_rng(2).integers(-20, 20, (6, 2, 256)).astype(np.int16)
    session = Session.from_samples(samples, channels, 1e6, 10)
    return session, measure(session, Settings())


def test_a_session_without_pulses_still_gets_a_sheet(quiet: tuple[Session, Findings]) -> None:
    session, findings = quiet
    sheet = sheet_of(Assessment(findings), session)
    assert sheet.outcome is None
    page = Reader(as_html(sheet).decode()).text
    assert "No pulse stands out of the noise in the span." in page
    assert "Nothing was claimed" in page
    assert packed("No pulse stands out") in packed(pdf_text(as_pdf(sheet)))


def test_a_claim_that_cannot_be_measured_is_undecided_and_never_left_out(
    quiet: tuple[Session, Findings], tmp_path: Path
) -> None:
    from pulsewright.claims_file import read_claims

    path = tmp_path / "quiet.claims.toml"
    path.write_text(
        '[[claims]]\nname = "It walks"\nkind = "increment"\nlimit = "10 us ± 1 us"\n'
        '[[claims]]\nname = "Of a channel that is not there"\nkind = "noise"\nlimit = "5 mV"\nchannels = "H99"\n'
    )
    session, findings = quiet
    sheet = sheet_of(assessed(findings, read_claims(path)), session)
    assert [claim.verdict for claim in sheet.claims] == ["undecided", "undecided"]
    assert [claim.measured for claim in sheet.claims] == ["not measured", "not measured"]
    page = Reader(as_html(sheet).decode()).text
    assert "H99" in page
    assert sheet.outcome == "undecided"


@pytest.mark.usefixtures("undrawn")
def test_a_trigger_withheld_on_purpose_is_named_as_such(tmp_path: Path) -> None:
    """The sample lacks triggers 9 and 24 (its recipe): found where they were withheld, and trigger 3 was not."""
    path = tmp_path / "t.claims.toml"
    path.write_text(
        '[settings]\nchannel = "H01"\nspan = "190 us .. 330 us"\n'
        '[[claims]]\nname = "All but two"\nkind = "no_missed_trigger"\nwithheld = [9, 24]\n'
        '[[claims]]\nname = "All but one"\nkind = "no_missed_trigger"\nwithheld = [3]\n'
    )
    given = open_with_settings(sample("tank_faults.h5"), path)
    with given.session as session:
        found, unnoticed = sheet_of(given.assess(), session).claims
    assert found.verdict == "holds" and unnoticed.verdict == "fails"
    assert found.withheld == "Withheld on purpose, to show that a missing trigger is noticed: triggers 9, 24."
    assert "did not notice that trigger 3 was withheld" in str(unnoticed.measured)


def test_findings_older_than_the_review_make_no_sheet(quiet: tuple[Session, Findings]) -> None:
    session, findings = quiet
    with pytest.raises(EvidenceError, match="older than the review's left_out; measure the session anew"):
        sheet_of(Assessment(findings), session, Review(left_out={2: "touched"}))
    older = replace(findings, settings=layered(None, {"left_out": [2]}))
    with pytest.raises(EvidenceError, match="left_out that the review no longer holds"):
        sheet_of(Assessment(older), session, Review())


@pytest.mark.usefixtures("undrawn")
def test_verdicts_older_than_a_marker_make_no_sheet(quiet: tuple[Session, Findings], tmp_path: Path) -> None:
    from pulsewright.claims_file import read_claims

    path = tmp_path / "quiet.claims.toml"
    path.write_text('[[claims]]\nname = "x"\nkind = "marker_pair"\nlimit = "10 us ± 1 us"\npair = "gap"\n')
    session, findings = quiet
    before, after = (
        Review(markers=[Marker(0.0, 1e-8, 1, "gap", "H01", 0), Marker(end, 1e-8, 1, "gap", "H01", 0)])
        for end in (10e-6, 30e-6)
    )
    assessment = assessed(findings, read_claims(path), before)
    assert sheet_of(assessment, session, before).outcome == "holds"
    with pytest.raises(EvidenceError, match="older than the claims or the review's markers"):
        sheet_of(assessment, session, after)


def test_findings_of_another_session_make_no_sheet(quiet: tuple[Session, Findings]) -> None:
    _, findings = quiet
    with (
        open_with_settings(sample("tank_walk.h5")).session as other,
        pytest.raises(EvidenceError, match="another session"),
    ):
        sheet_of(Assessment(findings), other)


@pytest.mark.parametrize("case", ["one sample", "one record", "nothing moves", "half a letter"])
def test_an_odd_session_still_gets_a_sheet(case: str, tmp_path: Path) -> None:
    from pulsewright_app.evidence.writing import write_sheet

    samples = np.random.default_rng(3).normal(0.0, 1e-3, (5, 2, 64)).astype(np.float32)
    name = "H01"
    if case == "one sample":
        samples = samples[:, :, :1]
    elif case == "one record":
        samples = samples[:1]
    elif case == "nothing moves":
        samples[:] = 0.0
    else:
        name = "_H\ud83d"
    channels = [Channel(name, "M1"), Channel("H02", "M1")]
    session = Session.from_samples(samples, channels, 1e6, 0)
    views = [SheetView(kind, 0, name, lanes=False) for kind in ("single", "stacked", "afterglow", "map")]
    review = Review(sheet_views=views)
    assessment = Assessment(measure(session, Settings()))
    targets = [tmp_path / "sheet.html", tmp_path / "sheet.pdf"]
    sheet = write_sheet(assessment, session, review, *targets, json_file=tmp_path / "sheet.json")
    assert all(view.svg for view in sheet.views)
    assert json.loads((tmp_path / "sheet.json").read_text("utf-8"))["sheet"]["title"] == "A session in memory"
    assert all(path.stat().st_size > 10_000 for path in targets)
