import json
import os

import pytest

from envelope.surveys.errors import SurveyError
from envelope.surveys.runner import Runner, run
from envelope.surveys.store import Store, survey_key

from .work import deadly, deadly_once, square, wrong

KEY = survey_key("cell", "survey")


def same(value):
    return value


def store_at(path, key=KEY, force=False):
    return Store(path, key, same, same, force)


@pytest.mark.parametrize("jobs", [1, 2])
def test_answers_come_in_order_whoever_worked(jobs):
    seen = []
    answers = run(square, range(9), jobs=jobs, progress=lambda done, total: seen.append(done))
    assert answers == [n * n for n in range(9)]
    assert seen == list(range(10))


def test_a_lost_worker_costs_a_retry_and_no_answer(tmp_path):
    mark = tmp_path / "mark"
    answers = run(deadly_once, [(n, str(mark)) for n in range(8)], jobs=2)
    assert mark.exists()
    assert answers == [n * n for n in range(8)]


def test_an_item_that_ends_every_worker_is_told():
    with pytest.raises(SurveyError, match="same variant"):
        run(deadly, range(5), jobs=2)


@pytest.mark.parametrize("jobs", [1, 2])
def test_an_error_of_the_work_comes_through(jobs):
    with pytest.raises(ValueError, match="wrong 0"):
        run(wrong, [0], jobs=jobs)


def test_what_the_store_has_is_not_worked_on_again(tmp_path):
    with store_at(tmp_path / "s") as store:
        store.keep("1", 111)
        assert run(square, range(3), store=store) == [0, 111, 4]
    with store_at(tmp_path / "s") as store:
        assert run(wrong, range(3), store=store) == [0, 111, 4]


def test_names_of_items_are_their_own(tmp_path):
    with store_at(tmp_path / "s") as store, Runner(store=store) as runner:
        assert runner.run(square, [2], names=["two"]) == [4]
        assert runner.run(square, [3, 2], names=["three", "two"]) == [9, 4]
        assert len(store) == 2


def test_a_torn_last_line_is_dropped_and_written_over(tmp_path):
    path = tmp_path / "s"
    with store_at(path) as store:
        for n in range(4):
            store.keep(str(n), n * n)
    whole = path.read_bytes()
    for end in range(1, len(whole)):
        path.write_bytes(whole[:end])
        with store_at(path) as store:
            assert run(square, range(4), store=store) == [0, 1, 4, 9]
        assert path.read_bytes() == whole
        for line in path.read_text(encoding="utf-8").splitlines():
            json.loads(line)


def test_a_file_of_something_else_is_refused_and_left_alone(tmp_path):
    path = tmp_path / "s"
    for content in (b"shopping list\n", b"no line end", b'{"survey":1,"of":"other"}\n'):
        path.write_bytes(content)
        with pytest.raises(SurveyError, match="no file of this survey"):
            store_at(path)
        assert path.read_bytes() == content
    with store_at(path, force=True) as store:
        store.keep("0", 5)
    with store_at(path) as store:
        assert store["0"] == 5


def test_a_damaged_line_is_told(tmp_path):
    path = tmp_path / "s"
    with store_at(path) as store:
        store.keep("0", 5)
    path.write_bytes(path.read_bytes() + b"%%%\n")
    with pytest.raises(SurveyError, match="damaged"):
        store_at(path)


def test_a_full_disk_is_told(tmp_path, monkeypatch):
    real = os.write
    with store_at(tmp_path / "s") as store:
        store.keep("0", 5)
        before = (tmp_path / "s").read_bytes()

        def full(file, data):
            if file != store._file:
                return real(file, data)
            if len(data) > 3:
                return real(file, bytes(data[:3]))
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(os, "write", full)
        with pytest.raises(SurveyError, match="No space left"):
            store.keep("1", "a long answer")
        assert (tmp_path / "s").read_bytes() == before
        monkeypatch.undo()
        store.keep("1", 6)
    with store_at(tmp_path / "s") as store:
        assert store["0"] == 5
        assert store["1"] == 6
