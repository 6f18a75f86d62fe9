import subprocess

import imageio_ffmpeg
import numpy as np
import pytest

from tests.test_explain_still import CARD, SPEED, picture
from toolkit.charts.picture import Line, Panel
from toolkit.explain.clip import Cancelled, Film, Timing, write_clip
from toolkit.explain.looks import PublishError

SHORT = Timing(seconds=2, fps=10)
SMALL = (640, 640)


def one_panel(**more):
    return picture(panels=(picture().panels[0],), **more)


def ffmpeg(*arguments):
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-hide_banner", *arguments]
    return subprocess.run(command, capture_output=True, check=False)


def frames_of(path, pixels, depth, size=SMALL):
    raw = ffmpeg("-i", path, "-f", "rawvideo", "-pix_fmt", pixels, "-").stdout
    return np.frombuffer(raw, np.uint8).reshape(-1, *size[::-1], depth)


def test_a_clip_has_its_length_rate_and_size(tmp_path):
    write_clip(tmp_path / "c.mp4", one_panel(), SHORT, SMALL)
    told = ffmpeg("-i", tmp_path / "c.mp4").stderr.decode()
    assert "Duration: 00:00:02.00" in told and "640x640" in told and "10 fps" in told
    assert "yuv420p(tv, bt709" in told
    assert len(frames_of(tmp_path / "c.mp4", "rgb24", 3)) == SHORT.frames == 20


def test_colours_come_back_as_they_were_sent(tmp_path):
    film = Film(one_panel(), SHORT, SMALL, "dark")
    write_clip(tmp_path / "c.mp4", one_panel(), SHORT, SMALL, "dark")
    seen = frames_of(tmp_path / "c.mp4", "rgb24", 3)[-1].astype(int)
    sent = np.frombuffer(film.frame(1.9), np.uint8).reshape(*SMALL, 4)[..., :3]
    assert np.abs(seen[2, 2] - sent[2, 2]).max() <= 3
    assert np.abs(seen - sent).mean() < 2


def test_the_curves_appear_from_left_to_right():
    film = Film(one_panel(), SHORT, SMALL)
    inked = []
    for time_s in (0.0, 0.6, 1.1, 1.99):
        frame = np.frombuffer(film.frame(time_s), np.uint8).reshape(*SMALL, 4).astype(int)
        blue = (frame[..., 2] - frame[..., 0]) > 120
        inked.append(int(np.flatnonzero(blue.any(axis=0)).size))
    assert inked == sorted(inked) and inked[0] < inked[1] < inked[2]


def test_the_readout_shows_the_value_at_the_cursor():
    film = Film(one_panel(), SHORT, SMALL)
    film.frame(SHORT.time_at(0.5))
    middle = (SPEED[0] + SPEED[-1]) / 2
    torque = picture().panels[0].lines[0].y
    said = {a.get_text() for a in film._moving.values()}
    assert f"Large {np.interp(middle, SPEED, torque):.0f}" in said
    assert film._clock.get_text() == f"{middle:.0f}"


def test_words_of_a_mark_appear_when_the_cursor_passes_it():
    film = Film(one_panel(), SHORT, SMALL)

    def shown(time_s):
        film.frame(time_s)
        return {a.get_text() for _, a in film.sheet.words if a.get_visible() and a in texts}

    texts = set(film.sheet.fig.texts)
    assert shown(0.0) == set()
    assert shown(SHORT.time_at((6100 - 3000) / 3500)) == {"+30 lb-ft"}
    assert {t.replace("\n", " ") for t in shown(1.99)} == {"+30 lb-ft", "at the very end"}


def test_time_and_place_are_each_others_inverse():
    shares = np.linspace(0, 1, 11)
    timing = Timing(12, 25)
    assert [timing.share_at(timing.time_at(s)) for s in shares] == pytest.approx(shares)


def test_a_gap_keeps_the_last_value_and_an_unstarted_curve_has_none():
    y = np.where(SPEED < 4000, np.nan, np.where(SPEED > 5000, np.nan, 7.0))
    film = Film(picture(panels=(Panel("T", (Line(SPEED, y, "run"),)),)), SHORT, SMALL)
    film.frame(0.0)
    assert not film._moving
    film.frame(1.99)
    assert {a.get_text() for a in film._moving.values()} == {"run 7"}


def test_the_same_picture_gives_the_same_bytes(tmp_path):
    for name in ("one.mp4", "two.mp4"):
        write_clip(tmp_path / name, one_panel(), SHORT, SMALL)
    assert (tmp_path / "one.mp4").read_bytes() == (tmp_path / "two.mp4").read_bytes()


def test_the_transparent_variant_carries_transparency(tmp_path):
    write_clip(tmp_path / "c.mov", one_panel(), SHORT, SMALL, "transparent", CARD)
    told = ffmpeg("-i", tmp_path / "c.mov").stderr.decode()
    assert "prores (4444)" in told and "yuva444p" in told
    frames = frames_of(tmp_path / "c.mov", "rgba", 4)
    alpha = frames[-1][..., 3]
    assert alpha[2, 2] == 0 and (alpha > 250).any()


def test_progress_is_told_and_a_stop_leaves_nothing_behind(tmp_path):
    told = []
    with pytest.raises(Cancelled):
        write_clip(
            tmp_path / "c.mp4",
            one_panel(),
            SHORT,
            SMALL,
            progress=lambda *done: told.append(done),
            stop=lambda: len(told) == 3,
        )
    assert told == [(1, 20), (2, 20), (3, 20)]
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "name, size, look, said",
    [
        ("c.mp4", (641, 640), "light", "even sizes: use 642 instead of 641"),
        ("c.mp4", SMALL, "transparent", "no transparency"),
        ("c.avi", SMALL, "light", "is .mp4 or .mov"),
    ],
)
def test_what_cannot_be_encoded_is_refused_in_words(tmp_path, name, size, look, said):
    with pytest.raises(PublishError, match=said):
        write_clip(tmp_path / name, one_panel(), SHORT, size, look)


@pytest.mark.parametrize("wrong", [{"seconds": 0.5}, {"fps": 5}, {"seconds": 4000}])
def test_a_length_or_rate_that_no_player_takes_is_refused(wrong):
    with pytest.raises(PublishError, match="cannot be used: choose between"):
        Timing(**wrong)


def test_a_sketch_alone_gives_no_clip():
    with pytest.raises(PublishError, match="needs curves along an axis"):
        Film(picture(panels=(Panel("sketch", bare=True),)), SHORT, SMALL)
