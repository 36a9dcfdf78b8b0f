"""A short round on the phone: ten questions, where am I, photographs, houses that are missing.

Real taps in a real browser: 360 x 740, touch, no network, opened from disk.
"""

import base64
import io
import json
from datetime import date

import numpy as np
import pyproj
import pytest
from PIL import Image
from playwright.sync_api import expect

from patchnet.assess import assess
from patchnet.assess.first_questions import first_questions
from patchnet.pages.survey import SurveyRound, survey_phone_page
from patchnet.plan.next_doors import next_doors
from patchnet.read import read_neighbourhood
from patchnet.survey.forget import forget_plots
from patchnet.survey.merge import merge_returns, write_merged
from patchnet.survey.missing_houses import to_draw
from patchnet.survey.photos import photo_folder, without_notes
from patchnet.survey.survey_layers import read_records
from patchnet.survey.undo import undo_return

from .test_survey_phone import Phone, handed_over, press, row

pytestmark = pytest.mark.browser

SHARING = """
navigator.canShare = ({files}) => files[0].type === 'text/plain';
navigator.share = async ({files}) => {
  window.given = [files[0].name, await files[0].text()];
};
const click = HTMLAnchorElement.prototype.click;
HTMLAnchorElement.prototype.click = function () {
  if (this.href.startsWith('mailto:')) window.mail = this.href;
  else click.call(this);
};
"""


@pytest.fixture
def phone(browser, tmp_path, survey_street):
    made = Phone(browser, tmp_path, survey_phone_page(survey_street))
    yield made
    made.end()


@pytest.fixture
def street(tmp_path, survey_file):
    path = tmp_path / "street.gpkg"
    path.write_bytes(survey_file.read_bytes())
    return path


def merged_of(street, file, knowledge, name="a.return.json"):
    path = street.parent / name
    path.write_text(json.dumps(file), encoding="utf-8")
    return merge_returns(street, [path], knowledge=knowledge, today=date.today())  # noqa: DTZ011


# ten questions ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def demo(knowledge):
    return read_neighbourhood("data_demo", knowledge=knowledge)


def test_the_first_questions_are_those_that_next_would_have_looked_for(demo, knowledge):
    """Another way to the same: `next` tries each answer at each plot; ten of its first twelve
    that can be told from the street, at least eight of them, come first here too."""
    found = next_doors(assess(demo, knowledge=knowledge, straight=True)).looks()
    settled = found.groupby("feature")["share"].sum().sort_values(ascending=False)
    seen = [key for key in settled.index if knowledge.survey_questions[key].from_street]
    first = first_questions(demo, knowledge, by_answers=True)
    assert len(first) == len(set(first)) == 10
    assert len(set(first) & set(seen[:12])) >= 8
    assert all(knowledge.survey_questions[key].from_street for key in first)


def test_what_is_answered_everywhere_is_not_asked_first(make, knowledge):
    hood = make(24).neighbourhood
    key = first_questions(hood, knowledge)[0]
    column = hood.answers.features.index(key)
    hood.answers.amount[:, column] = 1.0
    assert key in first_questions(hood, knowledge), "who looks learns nothing of the answers"
    assert key not in first_questions(hood, knowledge, by_answers=True)


def test_one_plot_fits_on_two_screens_and_the_rest_stands_under_more(
    browser, tmp_path, demo, knowledge
):
    phone = Phone(browser, tmp_path, survey_phone_page(SurveyRound(demo, knowledge)))
    page = phone.open()
    page.tap("#go")
    for _ in range(3):
        assert page.evaluate("document.documentElement.scrollHeight") <= 1600
        assert page.locator("#first li.question:visible").count() == 10
        assert page.locator("#questions li.question:visible").count() == 0
        page.tap("#go")
    page.tap("#more-words")
    asked = sum(one.from_street for one in knowledge.survey_questions.values())
    assert page.locator("li.question:visible").count() == asked
    page.get_by_text("The others: not there").tap()
    _, file = handed_over(page)
    first = first_questions(demo, knowledge)
    assert {one["feature"] for one in file["statements"]} == set(first)
    assert {one["answer"] for one in file["statements"]} == {"not there"}
    assert phone.complaints == []
    phone.end()


# where the phone is ----------------------------------------------------------------------------


def in_degrees(street, ident):
    plots = street.neighbourhood.plots
    spot = plots.geometry[ident].centroid
    there = pyproj.Transformer.from_crs(plots.crs, 4326, always_xy=True)
    return there.transform(spot.x, spot.y)


def test_the_nearest_house_is_offered_where_the_phone_says_where_it_is(phone, survey_street):
    page = phone.open()
    lon, lat = in_degrees(survey_street, "5")
    phone.context.set_geolocation({"longitude": lon, "latitude": lat, "accuracy": 8})
    phone.context.grant_permissions(["geolocation"])
    page.tap("#where")
    expect(page.locator("#near")).to_be_visible()
    near = page.locator("#near button")
    assert near.first.inner_text().startswith("5 ")
    assert near.first.inner_text().endswith(": 0 m")
    assert near.count() == 3
    assert "written down nowhere" in page.inner_text("#say")
    near.first.tap()
    assert page.inner_text("#plot-name").startswith("5 ")
    press(page, "pond", "there")
    _, file = handed_over(page)
    assert f"{lat:.4f}" not in json.dumps(file), "its place is in no file"
    assert phone.complaints == []


def test_a_phone_that_does_not_say_where_it_is_is_told_of_plainly(phone):
    page = phone.open(
        "navigator.geolocation.watchPosition = (_, no) => { setTimeout(() => no({code: 1}), 20); "
        "return 1; };"
    )
    page.tap("#where")
    expect(page.locator("#say")).to_contain_text("opened as a file")
    assert page.get_attribute("#where", "aria-pressed") == "false"
    assert page.locator("#near").is_hidden()


# photographs -----------------------------------------------------------------------------------


def camera_picture():
    """A photograph of 3000 x 2000 with the place and a name written beside the picture."""
    rng = np.random.default_rng(7)
    small = rng.integers(0, 255, (20, 30, 3), dtype=np.uint8)
    picture = Image.fromarray(small).resize((3000, 2000))
    notes = Image.Exif()
    notes[0x010F] = "CANARYCAMERA"
    notes.get_ifd(0x8825)[1] = "N"
    notes.get_ifd(0x8825)[2] = (51.0, 30.0, 0.0)
    out = io.BytesIO()
    picture.save(out, "JPEG", exif=notes, quality=92)
    assert b"CANARYCAMERA" in out.getvalue()
    return out.getvalue()


def take(page, feature, picture):
    row(page, feature).get_by_text("Note, photo").tap()
    row(page, feature).locator("input[type=file]").set_input_files(
        {"name": "IMG_1.jpg", "mimeType": "image/jpeg", "buffer": picture}
    )
    expect(page.locator("#say")).to_contain_text("Photo kept")


def test_photographs_go_small_and_bare_into_the_one_file_and_the_folder(
    phone, street, survey_street
):
    know = survey_street.knowledge
    page = phone.open()
    page.tap("#go")
    press(page, "pond", "there")
    take(page, "pond", camera_picture())
    assert "Photo 1" in row(page, "pond").text_content()
    page.tap("#undo")
    assert "Photo 1" not in row(page, "pond").text_content()
    page.tap("#redo")
    phone.close()
    page = phone.open()
    _, file = handed_over(page)
    assert "1 photo" in page.inner_text("#over-counts")
    (shot,) = file["photos"]
    raw = base64.b64decode(shot["data"])
    picture = Image.open(io.BytesIO(raw))
    assert picture.size == (1024, 683)
    assert not picture.getexif()
    assert b"CANARYCAMERA" not in raw
    assert shot["name"] == file["statements"][0]["photo"]
    merged = merged_of(street, file, know)
    assert merged.faults == ()
    write_merged(merged, street)
    folder = photo_folder(street)
    (kept,) = folder.iterdir()
    assert kept.name == read_records(street).statements["photo"].iloc[0] == shot["name"]
    assert kept.read_bytes() == without_notes(raw)
    forget_plots(street, ["3"], street, knowledge=know)
    assert [one.name for one in folder.iterdir()] == [kept.name], "of another plot"
    found = forget_plots(street, ["1"], street, knowledge=know)
    assert found.removed["photos"] == 1
    assert list(folder.iterdir()) == []
    again = merged_of(street, file, know)
    assert again.photos == {}, "a household that is forgotten gets none again"


def test_what_is_no_photograph_of_the_plot_is_left_out(street, knowledge, survey_street):
    """A name that leads elsewhere, another plot's name, text for a picture: none is written."""
    good = base64.b64encode(camera_picture()).decode()
    names = ["../../x~pond~0123abcd.jpg", "2~pond~0123abcd.jpg", "1~pond~0123abcd.jpg"]
    file = {
        "patchnet_return": 1, "id": "a", "street": {"id": survey_street.street},
        "statements": [],
        "photos": [
            {"plot": "1", "feature": "pond", "name": names[0], "data": good},
            {"plot": "1", "feature": "pond", "name": names[1], "data": good},
            {"plot": "1", "feature": "pond", "name": names[2], "data": "bm90IGEgcGljdHVyZQ=="},
        ],
    }  # fmt: skip
    merged = merged_of(street, file, knowledge)
    assert merged.photos == {}
    assert [one.row for one in merged.faults] == [1, 2, 3]
    file["photos"][2]["data"] = good
    (kept,) = merged_of(street, file, knowledge).photos.values()
    assert b"CANARYCAMERA" not in kept, "whatever made the file, its notes are left out"
    assert Image.open(io.BytesIO(kept)).size == (3000, 2000)
    with Image.open(io.BytesIO(camera_picture())) as one, Image.open(io.BytesIO(kept)) as two:
        assert np.array_equal(np.asarray(one), np.asarray(two)), "and the picture is as it was"
    assert without_notes(camera_picture()[:300]) == b""


# houses that are missing -----------------------------------------------------------------------


def test_a_house_that_is_missing_is_placed_numbered_and_merged(phone, street, survey_street):
    know = survey_street.knowledge
    page = phone.open()
    page.tap("#missing")
    page.tap("#missing-keep")
    assert "Tap on the map" in page.inner_text("#say")
    page.locator("#street-map").tap()
    assert page.locator("#screen-plot").is_hidden(), "the tap opens no plot meanwhile"
    page.fill("#missing-number", "7a")
    page.fill("#missing-note", "behind the garages")
    page.tap("#missing-keep")
    assert "Missing: 7a" in page.inner_text("#missing-list")
    page.tap("#undo")
    assert page.inner_text("#missing-list") == ""
    page.tap("#redo")
    _, file = handed_over(page)
    merged = merged_of(street, file, know)
    assert merged.faults == ()
    assert merged.new["missing"] == 1
    write_merged(merged, street)
    houses = read_records(street).missing
    assert houses[["door", "note"]].to_numpy().tolist() == [["7a", "behind the garages"]]
    hood = read_neighbourhood(street, knowledge=know)
    middle = hood.plots.union_all().envelope
    assert houses.geometry.within(middle.buffer(5)).all()
    left = to_draw(houses, hood)
    assert left["door"].tolist() == ["7a"]
    assert merged_of(street, file, know).new["missing"] == 0, "twice is once"
    undo_return(street, knowledge=know)
    assert len(read_records(street).missing) == 0
    assert phone.complaints == []


# handing over ----------------------------------------------------------------------------------


def test_it_is_handed_over_by_the_share_sheet_or_by_mail(browser, tmp_path, survey_street):
    """The share sheet gets the file itself; a mail cannot, and says which file to attach."""
    made = SurveyRound(
        survey_street.neighbourhood, survey_street.knowledge, contact="Robin, robin@example.org"
    )
    phone = Phone(browser, tmp_path, survey_phone_page(made))
    page = phone.open(SHARING)
    page.tap("#go")
    press(page, "pond", "there")
    page.evaluate("document.getElementById('to-over').click()")
    page.tap("#share")
    expect(page.locator("#say")).to_contain_text("Shared")
    name, text = page.evaluate("window.given")
    assert name.endswith(".return.json.txt")
    assert [one["feature"] for one in json.loads(text)["statements"]] == ["pond"]
    with page.expect_download() as waiting:
        page.tap("#mail")
    mail = page.evaluate("window.mail")
    assert mail.startswith("mailto:robin@example.org?subject=")
    assert waiting.value.suggested_filename in mail
    assert "attach it" in page.inner_text("#say")
    phone.end()
