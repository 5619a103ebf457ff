"""The same runs on cores and on a cluster; what is missing is said."""

import pytest
from distributed import LocalCluster

from supervisor.bench.campaign import spread as spreading
from supervisor.bench.campaign.run import run_one
from supervisor.bench.campaign.spread import MissingPart, NoCluster, spread

RUNS = 4


@pytest.fixture(scope="module")
def serial() -> list[object]:
    return list(spread(11, RUNS))


def in_order(results: object) -> list[object]:
    return sorted(results, key=lambda run: run.run)  # type: ignore[call-overload]


def test_two_jobs_give_what_one_gives(serial: list[object]) -> None:
    assert in_order(spread(11, RUNS, jobs=2)) == serial


@pytest.mark.filterwarnings("ignore")  # of the cluster's own libraries
def test_a_cluster_of_two_processes_gives_what_one_gives(serial: list[object]) -> None:
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        assert in_order(spread(11, RUNS, scheduler=cluster.scheduler_address)) == serial


def test_serially_nothing_else_is_needed(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(name: str) -> None:
        raise ImportError(name)

    monkeypatch.setattr(spreading.importlib, "import_module", missing)
    assert next(spread(11, RUNS)) == run_one(11, 0)
    with pytest.raises(MissingPart, match=r"joblib is not installed.*holdwatch\[campaign\]"):
        spread(11, RUNS, jobs=2)
    with pytest.raises(MissingPart, match="distributed is not installed"):
        spread(11, RUNS, scheduler="tcp://127.0.0.1:1")


@pytest.mark.filterwarnings("ignore")
def test_nobody_at_that_address() -> None:
    with pytest.raises(NoCluster, match=r"no cluster at tcp://127\.0\.0\.1:1"):
        spread(11, RUNS, scheduler="tcp://127.0.0.1:1", patience_s=0.2)
