"""The review beside a log: what is saved, what a person may mend, what is refused."""

import pytest

from toolkit.bench import Bench
from toolkit.logs.question import LogError
from toolkit.logs.review import Review, review_name

LOG = "runs/monday.csv"


@pytest.fixture
def bench(tmp_path):
    (tmp_path / "runs").mkdir()
    return Bench(tmp_path)


def put(bench, text):
    bench.file(review_name(LOG)).write_text(text, encoding="utf-8")


FULL = Review(
    log="monday.csv",
    sha256="ab12",
    power_reference="SAE J1349",
    test={"label": "Small, 14 psi", "turbo": "Small"},
    file={"decimal": "comma"},
    weather={"barometer": "29.23 inHg"},
    columns={"Druck (2)": {"channel": "p_exhaust_pa", "unit": "psi", "delay": "0.25 s"}},
    pulls=({"lines": "10 to 90", "accepted": "yes"}, {"lines": "95 to 99", "accepted": "no"}),
    notes=({"words": "hör: dip", "at": "4200 rpm"},),
)


def test_what_is_saved_comes_back(bench):
    FULL.save(bench, LOG)
    assert Review.load(bench, LOG) == FULL
    assert sorted(p.name for p in bench.file("runs").iterdir()) == ["monday.csv.review.toml"]


def test_none_saved_is_an_empty_one(bench):
    assert Review.load(bench, LOG) == Review(log="monday.csv")


def test_comments_and_order_of_a_person_survive(bench):
    put(
        bench, '# asked Ann\nlog = "monday.csv"\n\n[weather] # from the wall\nbarometer = "1 bar"\n'
    )
    review = Review.load(bench, LOG).answered(("columns", "Boost/psi", "unit"), "psi")
    review.answered(("weather", "humidity"), "40 %").save(bench, LOG)
    text = bench.file(review_name(LOG)).read_text(encoding="utf-8")
    assert text.startswith("# asked Ann\n")
    assert "# from the wall" in text
    assert Review.load(bench, LOG).columns == {"Boost/psi": {"unit": "psi"}}
    assert Review.load(bench, LOG).weather == {"barometer": "1 bar", "humidity": "40 %"}


def test_lists_can_grow_shrink_and_change(bench):
    FULL.save(bench, LOG)
    for pulls in (FULL.pulls[:1], (), ({"lines": "1 to 2", "accepted": "no"},) * 3):
        changed = Review(log="monday.csv", pulls=pulls)
        changed.save(bench, LOG)
        assert Review.load(bench, LOG) == changed


def test_an_answer_takes_away_the_reasons_that_no_longer_hold():
    review = Review(columns={"x": {"unit": "psi", "why": "the file states psi"}})
    assert review.answered(("columns", "x", "unit"), "bar").columns == {"x": {"unit": "bar"}}
    assert review.answered(("power_reference",), "ISO 1585").power_reference == "ISO 1585"
    assert review.answered(("file", "decimal"), "point").file == {"decimal": "point"}


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("log = 3\n", "log is 3: write it as text"),
        ("[weather]\nbarometer = 29.23\n", r"\[weather\] barometer is 29.23"),
        ('[columns."x"]\nunits = "psi"\n', "column 'x' has 'units', which is not known"),
        ("columns = 3\n", "columns.* is 3"),
        ("[[pulls]]\nfirst = 3\n", "pulls.* number 1 first is 3"),
        ('pulls = "all"\n', "pulls is 'all'"),
        ('power_reference = "SAE J9999"\n', "'SAE J9999', which is not known: write observed, "),
        ('[whether]\nx = "1"\n', "part 'whether' that is not known"),
        ("log = \n", "cannot be read as TOML"),
    ],
)
def test_a_mistake_by_hand_is_named(bench, text, sentence):
    put(bench, text)
    with pytest.raises(LogError, match=sentence) as raised:
        Review.load(bench, LOG)
    assert "monday.csv.review.toml" in str(raised.value)
    assert "\n" not in str(raised.value)


def test_the_key_of_a_question_says_where_its_answer_lives():
    with pytest.raises(LogError, match="no part 'colums'"):
        Review().answered(("colums", "x", "unit"), "psi")
