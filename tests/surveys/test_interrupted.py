"""An interrupted survey goes on; neither interrupts nor lost workers leave a trace in answers."""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from envelope.cell.variants import read_cell_file
from envelope.surveys.base import Asked, survey_base
from envelope.surveys.judging import from_json, to_json
from envelope.surveys.ranges import read_range
from envelope.surveys.results import as_json
from envelope.surveys.runner import Runner
from envelope.surveys.store import Store, survey_key
from tests.support.small_cell import TEXT

ROOT = Path(__file__).parents[2]
ASKED = Asked((read_range("arm.at.y", "0"), read_range("arm.at.x", "-500,0,300,700")))


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    path = tmp_path_factory.mktemp("cell") / "small.yaml"
    path.write_text(TEXT, encoding="utf-8")
    return path


def survey(path, store=None, progress=None, **where):
    with Runner(store=store, **where) as runner:
        return as_json(survey_base(read_cell_file(path), ASKED, runner, progress))


@pytest.fixture(scope="module")
def undisturbed(small):
    return survey(small)


@pytest.mark.skipif(not hasattr(signal, "setitimer"), reason="no such timer on this system")
def test_interrupted_twenty_times_at_random_moments_the_bytes_are_the_same(
    small, undisturbed, tmp_path
):
    def interrupt(*_):
        raise KeyboardInterrupt

    rng, kept = random.Random(11), []
    before = signal.signal(signal.SIGPROF, interrupt)
    try:
        for number in range(40):  # one survey after another, each to its end
            file, found = tmp_path / f"survey {number}", None
            while found is None:  # moments in processor time: a busy machine is as interrupted
                moment = rng.uniform(0.01, 0.7) if len(kept) < 20 else 0.0
                store = None
                try:
                    signal.setitimer(signal.ITIMER_PROF, moment)
                    store = Store(file, survey_key("this"), to_json, from_json)
                    with store:
                        found = survey(small, store)
                    signal.setitimer(signal.ITIMER_PROF, 0.0)
                except KeyboardInterrupt:
                    kept.append(len(store) if store is not None else 0)
            assert found == undisturbed
            if len(kept) >= 20:
                break
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)
    assert len(kept) >= 20
    assert max(kept) > 0, "nothing was kept: the survey always started anew"


def command(cell, *more):
    return [
        sys.executable,
        *("-m", "envelope", "survey", "base", str(cell), "--y", "0"),
        *("--x", "-500,0,300,700", "--jobs", "2", "--results", "r.json", *more),
    ]


@pytest.mark.skipif(os.name == "nt", reason="interrupts are sent otherwise there")
def test_the_command_goes_on_after_ctrl_c(small, undisturbed, tmp_path):
    cell = tmp_path / "small.yaml"
    cell.write_bytes(small.read_bytes())
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    survey_file = tmp_path / "small.base.survey"
    for _ in range(10):  # a busy machine may notice too late that the survey has begun
        process = subprocess.Popen(
            command(cell), cwd=tmp_path, env=environment, stderr=subprocess.PIPE, text=True
        )
        until = time.monotonic() + 120.0
        while not survey_file.exists() and process.poll() is None and time.monotonic() < until:
            time.sleep(0.01)
        process.send_signal(signal.SIGINT)
        _, told = process.communicate(timeout=120.0)
        if process.returncode:
            break
        (tmp_path / "r.json").unlink()
    assert process.returncode == 130
    assert "small.base.survey keeps what is done" in told
    assert survey_file.exists()
    assert not (tmp_path / "r.json").exists()
    again = subprocess.run(
        command(cell), cwd=tmp_path, env=environment, capture_output=True, text=True, check=False
    )
    assert again.returncode == 0
    assert "Going on from" in again.stderr
    assert (tmp_path / "r.json").read_text(encoding="utf-8") == undisturbed
    assert not survey_file.exists()


# --- a Dask cluster ---------------------------------------------------------------------------


def dask(*arguments, cwd=ROOT):
    return subprocess.Popen(
        [sys.executable, "-m", "dask", *arguments],
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


@pytest.fixture
def cluster(tmp_path):
    """A scheduler and two workers, each a process; gives its address and the workers."""
    pytest.importorskip("distributed")
    import json

    named = tmp_path / "scheduler.json"
    here = ("--host", "127.0.0.1", "--no-dashboard")
    processes = [dask("scheduler", *here, "--port", "0", "--scheduler-file", str(named))]
    try:
        until = time.monotonic() + 60.0
        while not named.exists() and time.monotonic() < until:
            time.sleep(0.1)
        address = json.loads(named.read_text(encoding="utf-8"))["address"]
        plain = ("--nthreads", "1", "--no-nanny", "--local-directory", str(tmp_path))
        processes += [dask("worker", address, *here, *plain) for _ in range(2)]
        yield address, processes[1:]
    finally:
        for process in reversed(processes):
            process.kill()
            process.wait()


def test_on_a_cluster_that_loses_a_worker_the_answer_is_the_same(small, undisturbed, cluster):
    address, workers = cluster
    ended = []

    def progress(done, total):
        if done >= 2 and not ended:
            workers[0].kill()
            workers[0].wait()
            ended.append(done)

    _wait_for_workers(address, 2)
    assert survey(small, progress=progress, cluster=address) == undisturbed
    assert ended
    assert workers[1].poll() is None


def _wait_for_workers(address, count):
    from distributed import Client

    with Client(address, set_as_default=False) as client:
        client.wait_for_workers(count, timeout=60)
