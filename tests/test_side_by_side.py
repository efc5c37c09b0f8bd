"""Works in processes of their own: all are done, and what one raises is raised here."""

import os
import threading
from pathlib import Path

import pytest

from unfold.errors import ScanError, UnfoldError
from unfold.side_by_side import Line, in_threads, partner, shared_out, side_by_side


def writes(path: Path) -> None:
    path.write_text(str(os.getpid()), encoding="utf-8")


def test_every_work_is_done_each_in_its_own_process(tmp_path: Path) -> None:
    side_by_side([lambda name=name: writes(tmp_path / name) for name in "abc"])  # type: ignore[misc]
    done = {name: int((tmp_path / name).read_text(encoding="utf-8")) for name in "abc"}
    assert len(set(done.values())) == 3 and done["c"] == os.getpid()


def test_beside_other_threads_nothing_is_forked(tmp_path: Path) -> None:
    over = threading.Event()
    other = threading.Thread(target=over.wait)
    other.start()
    try:
        side_by_side([lambda: writes(tmp_path / "a"), lambda: writes(tmp_path / "b")])
    finally:
        over.set()
        other.join()
    assert {(tmp_path / name).read_text(encoding="utf-8") for name in "ab"} == {str(os.getpid())}


@pytest.mark.parametrize("place", [0, 1])
def test_an_error_keeps_its_kind_and_the_others_are_done(tmp_path: Path, place: int) -> None:
    def fails() -> None:
        raise ScanError("the file is broken", "export it again")

    works = [lambda: writes(tmp_path / "a"), lambda: writes(tmp_path / "b")]
    works.insert(place, fails)
    with pytest.raises(ScanError, match="the file is broken; export it again"):
        side_by_side(works)
    assert (tmp_path / "a").exists() and (tmp_path / "b").exists()


def test_an_error_that_cannot_be_sent_is_told_of_in_words() -> None:
    def fails() -> None:
        raise type("Odd", (Exception,), {})("of no module")

    with pytest.raises(RuntimeError, match="Odd: of no module"):
        side_by_side([fails, lambda: None])


def test_a_process_that_is_killed_is_an_error() -> None:
    with pytest.raises(UnfoldError, match="ended with"):
        side_by_side([lambda: os.kill(os.getpid(), 9), lambda: None])


def test_partners_send_each_other_values_and_end_together(tmp_path: Path) -> None:
    def doubles(line: Line) -> None:
        line.send([2 * line.receive(), os.getpid()])
        writes(tmp_path / "afterwards")

    with partner(doubles) as other:
        other.send(21)
        doubled, process = other.receive()
    assert doubled == 42 and process != os.getpid()
    assert int((tmp_path / "afterwards").read_text(encoding="utf-8")) == process


def test_beside_other_threads_a_partner_is_a_thread() -> None:
    over = threading.Event()
    other = threading.Thread(target=over.wait)
    other.start()
    try:
        with partner(lambda line: line.send(os.getpid())) as there:
            assert there.receive() == os.getpid()
    finally:
        over.set()
        other.join()


def test_what_a_partner_raises_is_raised_where_its_value_is_waited_for() -> None:
    def fails(line: Line) -> None:
        raise ScanError("the job is broken", "make it again")

    with pytest.raises(ScanError, match="the job is broken"), partner(fails) as other:
        other.receive()
    with pytest.raises(ScanError, match="the job is broken"), partner(fails):
        pass  # nothing is waited for: raised at the end
    with pytest.raises(UnfoldError, match="ended with"), partner(lambda line: os.kill(os.getpid(), 9)) as other:
        other.receive()


def test_a_partner_that_waits_is_let_go_when_the_body_fails() -> None:
    with pytest.raises(KeyError), partner(lambda line: line.receive()):
        raise KeyError("body")


def test_work_that_is_shared_out_comes_back_in_order() -> None:
    found = shared_out(lambda a, b: (a - b, os.getpid()), range(10, 15), range(5))
    assert [difference for difference, _ in found] == [10] * 5
    processes = [process for _, process in found]
    assert processes[::2] == [os.getpid()] * 3 and len({os.getpid(), *processes[1::2]}) == 2
    assert shared_out(str, [1]) == ["1"] and shared_out(str, []) == []


def test_what_shared_out_work_raises_is_raised() -> None:
    def fails_at(number: int) -> None:
        if number == 3:
            raise ScanError("the file is broken", "export it again")

    with pytest.raises(ScanError, match="the file is broken"):
        shared_out(fails_at, range(6))


def test_rows_worked_on_in_threads_keep_their_order_and_their_error() -> None:
    assert in_threads(lambda a, b: a - b, range(5), [0, 0, 1, 1, 2]) == [0, 1, 1, 2, 2]
    with pytest.raises(ZeroDivisionError):
        in_threads(lambda a: 1 / a, [1, 0, 2])
