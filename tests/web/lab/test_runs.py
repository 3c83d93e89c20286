"""Run lists at the door."""

from __future__ import annotations

from collections.abc import Callable

from flask.testing import FlaskClient

from tests.check_runs import CHECK
from tests.result_files import NIR, Bench
from tests.web.lab.reading import words
from tracker.domain.check_samples import run_list
from tracker.lookups.runs import run_named, runs

AtBench = Callable[[str], FlaskClient]


def made(client: FlaskClient, bench: Bench, **form: object) -> str:
    """The address of a run of all samples."""
    sent = {"source": NIR, "check_name": CHECK, "every": "2", "codes": list(bench.codes), **form}
    answer = client.post("/runs", data=sent)
    assert answer.status_code == 303, answer.get_data(as_text=True)
    return str(answer.headers["Location"])


def test_the_samples_that_wait_are_offered_all_ticked(bench: Bench, at_bench: AtBench) -> None:
    page = at_bench("ana").get("/runs").get_data(as_text=True)
    assert page.count('name="codes"') == 4 == page.count(" checked>")
    assert "A run of the 4 ground samples that wait" in page
    # The outside laboratory is no instrument.
    assert f"<option>{NIR}</option>" in page and "outside laboratory" not in page


def test_a_run_is_made_of_what_is_ticked_and_can_be_read_again(bench: Bench, at_bench: AtBench) -> None:
    ana = at_bench("ana")
    address = made(ana, bench, codes=list(bench.codes[:3]))
    with bench.season.read() as session:
        (run,) = runs(session)
    assert address == f"/runs/{run.name}" and run.samples == 3
    order = [row.code for row in run.rows]
    assert order == [
        row.code for row in run_list(bench.codes[:3], CHECK, blind_duplicate_seed=run.seed, every=2)
    ]
    page = words(ana.get(address).get_data(as_text=True))
    places = [page.index(f"{code[:4]}-{code[4:]}") for code in dict.fromkeys(order) if code != CHECK]
    assert places == sorted(places)
    # The check sample's name can be chosen again.
    assert f'value="{CHECK}"' in ana.get("/runs").get_data(as_text=True)


def test_which_cup_is_the_blind_duplicate_is_told_to_the_lead_alone(bench: Bench, at_bench: AtBench) -> None:
    ana = at_bench("ana")
    address = made(ana, bench)
    assert "blind" not in ana.get(address).get_data(as_text=True)
    assert "blind duplicate" in at_bench("lena").get(address).get_data(as_text=True)


def test_the_list_for_the_instrument_is_csv_in_the_runs_order(bench: Bench, at_bench: AtBench) -> None:
    ana = at_bench("ana")
    address = made(ana, bench)
    answer = ana.get(f"{address}.csv")
    with bench.season.read() as session:
        run = run_named(session, address.rsplit("/", 1)[-1])
    expected = ["Position,Sample", *(f"{row.position},{row.code}" for row in run.rows)]
    assert answer.get_data() == "".join(f"{line}\r\n" for line in expected).encode()
    assert answer.content_type.startswith("text/csv")
    assert f"run-{run.name}.csv" in answer.headers["Content-Disposition"]
    bench_list = ana.get(f"{address}.csv?profile=bench").get_data(as_text=True)
    assert bench_list.startswith("Cup,What,Code,Filled\r\n1,check sample,CHECK 1,\r\n")
    assert ana.get(f"{address}.csv?profile=x").status_code == 422


def test_an_unknown_run_is_not_found_and_an_empty_one_not_made(bench: Bench, at_bench: AtBench) -> None:
    ana = at_bench("ana")
    assert ana.get("/runs/2026-01-01-1").status_code == 404
    answer = ana.post("/runs", data={"source": NIR, "check_name": CHECK, "every": "20"})
    assert answer.status_code == 422 and "run-empty" in answer.get_data(as_text=True)
