import pytest

from tests.test_explain_telling import finding
from toolkit.bench import Bench
from toolkit.explain.clip import Cancelled, Timing
from toolkit.explain.looks import PublishError
from toolkit.explain.publish import Choice, edited, publish
from toolkit.explain.telling import story_of

QUICK = Choice(size=(960, 720), clip="mp4", timing=Timing(2, 10), vector=True)
EVERY = {
    "picture-960x720-light.png", "picture-960x720-light.svg", "circle-960x720-light.png",
    "page.html", "numbers.csv", "talk.md", "talk.vtt", "clip-960x720-light.mp4",
}  # fmt: skip


@pytest.fixture
def bench(tmp_path):
    return Bench(tmp_path)


@pytest.fixture(scope="module")
def story():
    return story_of(finding(), "US")


def contents(bench):
    folder = bench.file("explain/large")
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def test_everything_chosen_is_written_and_again_with_the_same_bytes(bench, story):
    done = publish(bench, story, QUICK)
    assert set(done.written) == EVERY and done.kept == ()
    first = contents(bench)
    assert set(first) == EVERY | {"published.toml"}
    publish(bench, story_of(finding(), "US"), QUICK)
    assert contents(bench) == first


def test_a_file_that_a_person_edited_stays(bench, story):
    few = Choice(picture=False, poster=False, talk=True, page=False)
    publish(bench, story, few)
    bench.file("explain/large/talk.md").write_text("my own words")
    assert edited(bench, story, few) == ("talk.md",)
    done = publish(bench, story, few)
    assert done.kept == ("talk.md",) and done.written == ("talk.vtt",)
    assert bench.file("explain/large/talk.md").read_text() == "my own words"
    assert publish(bench, story, few, replace_edited=True).kept == ()
    assert bench.file("explain/large/talk.md").read_text().startswith("# Large makes")


def test_a_file_that_was_there_before_counts_as_the_persons(bench, story):
    path = bench.file("explain/large/page.html")
    path.parent.mkdir(parents=True)
    path.write_text("mine")
    done = publish(bench, story, Choice(picture=False, poster=False, talk=False))
    assert done.kept == ("page.html",)
    assert path.read_text() == "mine"


def test_a_lost_manifest_leaves_every_file_alone(bench, story):
    few = Choice(picture=False, poster=False, page=False)
    publish(bench, story, few)
    bench.file("explain/large/published.toml").write_text("not = [toml")
    assert set(edited(bench, story, few)) == {"talk.md", "talk.vtt"}


def test_another_headline_replaces_what_we_wrote(bench, story):
    few = Choice(picture=False, poster=False, page=False)
    publish(bench, story, few)
    other = story_of(finding(), "US", title="Where the small turbo runs out")
    assert publish(bench, other, few).kept == ()
    assert "runs out" in bench.file("explain/large/talk.md").read_text()


def test_a_headline_that_contradicts_is_not_published(bench):
    wrong = story_of(finding(), "US", title="Large makes 400 hp more at 6500 rpm")
    with pytest.raises(PublishError, match="contradicts the finding: 400 hp"):
        publish(bench, wrong, Choice())
    assert not bench.file("explain").exists()


def test_progress_runs_to_the_end_and_a_stop_leaves_whole_files_only(bench, story):
    told = []
    publish(bench, story, QUICK, progress=lambda *p: told.append(p))
    assert told[0][0] == 0 and told[-1][0] == told[-1][1]
    assert [d for d, _, _ in told] == sorted(d for d, _, _ in told)

    few = Choice(size=(960, 720), clip="mp4", timing=Timing(3, 10), page=False, talk=False)
    before = contents(bench)
    calls = iter(range(100))
    with pytest.raises(Cancelled):
        publish(bench, story, few, stop=lambda: next(calls) > 6)
    after = contents(bench)
    assert after.keys() == before.keys()
    assert after["clip-960x720-light.mp4"] == before["clip-960x720-light.mp4"]


@pytest.mark.parametrize(
    "choice, said",
    [
        (Choice(look="sepia"), "there is no look"),
        (Choice(size=(50, 50)), "cannot be used"),
        (Choice(clip="mp4", size=(961, 721), page=False, talk=False), "even sizes"),
    ],
)
def test_what_cannot_be_made_is_refused_in_words(bench, story, choice, said):
    with pytest.raises(PublishError, match=said):
        publish(bench, story, choice)
