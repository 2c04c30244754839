"""What the class's service does for one trainee, who is who, and what a machine lacks; without a hub."""

import json
import os
import shutil
from dataclasses import replace

import pytest

from grader import catalogue
from grader.bench import session, trainees
from grader.bench.part import Bench
from grader.course.grading import mark_class
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.errors import BadFile, Refused, Unknown
from grader.exercise import hand_in
from grader.exercise import sheet as sheets
from grader.hub import accounts, bench_log, check, classwork, codes, place
from grader.records.term import class_list
from grader.reports.feedback import return_run
from tests import work

MODULE = "m01_timing"


def packed(term, trainee, folder, text="12"):
    """The zip of a hand-in, as a lesson makes it."""
    record = work.issue_of(term, trainee)
    path = next(path for _, _, path in catalogue.module(MODULE).parts())
    folder.mkdir(exist_ok=True)
    (folder / sheets.NAME).write_bytes(sheets.dump(work.sheet_of(record, {path: text})))
    return hand_in.write(folder, record)[0].read_bytes()


def test_what_is_handed_in_is_kept_once_and_collected_once(assigned_term, tmp_path):
    """Whoever did not hear that it arrived sends it again, and it is one hand-in, before and after it was collected."""
    one, two = packed(assigned_term, "t01", tmp_path / "a"), packed(assigned_term, "t01", tmp_path / "b", "13")
    first = classwork.take_in(assigned_term, "t01", one)
    assert classwork.take_in(assigned_term, "t01", one) == first
    assert collect.collect(assigned_term).taken == 1
    assert classwork.take_in(assigned_term, "t01", one) == first
    later = classwork.take_in(assigned_term, "t01", two)
    assert later["received"] >= first["received"] and later["sha256"] != first["sha256"]
    assert collect.collect(assigned_term).taken == 1
    (listed,) = classwork.works(assigned_term, "t01")
    assert (listed["receipt"], listed["received"]) == (later["sha256"], later["received"])


def test_nobody_hands_in_for_another_and_junk_stays_outside(assigned_term, tmp_path):
    content = packed(assigned_term, "t01", tmp_path / "a")
    with pytest.raises(Refused, match="somebody else"):
        classwork.take_in(assigned_term, "t02", content)
    for junk in (b"", b"PK\x03\x04", b"no zip", content[:200]):
        with pytest.raises(BadFile):
            classwork.take_in(assigned_term, "t01", junk)
    assert not list((assigned_term.folder / "inbox").rglob("*.zip"))
    for module, attempt in (("m02_dwell", 1), (MODULE, 2), ("../../term", 1)):
        with pytest.raises(Unknown):
            classwork.handout(assigned_term, "t01", module, attempt)
        with pytest.raises(Unknown):
            classwork.returned_page(assigned_term, "t01", module, attempt)
    with pytest.raises(Refused, match="class list"):
        classwork.works(assigned_term, "t99")


def test_a_sheet_that_was_taken_back_is_not_given_out(assigned_term, tmp_path):
    """It shows the right answers: who has not read it yet does not get it any more, until it goes back again."""
    classwork.take_in(assigned_term, "t01", packed(assigned_term, "t01", tmp_path / "a"))
    collect.collect(assigned_term)
    mark_class.mark(assigned_term, MODULE)
    return_run.give_back(assigned_term, MODULE)
    assert b"<html" in classwork.returned_page(assigned_term, "t01", MODULE, 1)
    return_run.take_back(assigned_term, MODULE, ("t01",), reason="sent too early")
    assert classwork.works(assigned_term, "t01")[0]["returned"] == ""
    with pytest.raises(Unknown, match="returned yet"):
        classwork.returned_page(assigned_term, "t01", MODULE, 1)


def test_what_does_not_arrive_leaves_no_receipt(assigned_term, tmp_path):
    """A page never says that work is handed in while it is not."""

    def away(_content):
        raise Refused("The class server does not answer.")

    packed(assigned_term, "t01", tmp_path / "a")
    record = work.issue_of(assigned_term, "t01")
    (tmp_path / "a" / hand_in.zip_name(record)).unlink()
    with pytest.raises(Refused):
        hand_in.write(tmp_path / "a", record, deliver=away)
    assert hand_in.last(tmp_path / "a", record) is None


@pytest.fixture(scope="module")
def benches(_assigned_term, tmp_path_factory):
    """A term with the lesson of module 6 handed out, and the path of its first bench."""
    from grader.records.term import term as terms

    folder = tmp_path_factory.mktemp("benches") / "term"
    shutil.copytree(_assigned_term, folder)
    term = terms.open_term(folder)
    assign.assign(term, "m06_diagnosis")
    return term, next(path for _, part, path in catalogue.module("m06_diagnosis").parts() if isinstance(part, Bench))


def test_the_bench_answers_one_act_at_a_time_and_keeps_the_log(benches):
    """A whole car by the service gives what the same acts give at the bench itself; the car behind it is never told."""
    term, path = benches
    where = (term, "t01", "m06_diagnosis", 1, path)
    case = bench_log._case(*where)
    acts = session.acts(trainees.best_road(case))
    assert bench_log.standing(*where)["steps"] == []
    for number, act in enumerate(acts, 1):
        answer = bench_log.do(*where, dict(act))
        assert len(answer["steps"]) == number
    whole = session.replay(case, trainees.best_road(case))
    assert [step["sentences"] for step in answer["steps"]] == [list(step.sentences) for step in whole.steps]
    assert answer["closed"] and bench_log.standing(*where) == answer
    told = json.dumps(answer)
    assert case.seed not in told and not any(f'"{fault}"' in told for fault in case.atom.faults)
    (kept,) = (term.folder / "bench" / "t01").iterdir()
    assert kept.stat().st_mode & 0o777 == 0o600 and session.acts(kept.read_text()) == acts
    with pytest.raises(Refused, match="nothing more"):
        bench_log.do(*where, {"do": "run", "to": "idle"})


def test_the_bench_refuses_what_is_no_act_and_whose_it_is_not(benches):
    term, path = benches
    where = (term, "t02", "m06_diagnosis", 1, path)
    for act in (None, [], {"do": "look inside"}, {"do": "test", "with": "x-ray"}, {"do": "run", "to": "idle", "x": 1}):
        with pytest.raises(BadFile):
            bench_log.do(*where, act)
    assert bench_log.standing(*where)["steps"] == [] and not (term.folder / "bench" / "t02").exists()
    for wrong in ("m06.none.car", "../term.key", path + ".x"):
        with pytest.raises(Unknown):
            bench_log.do(term, "t02", "m06_diagnosis", 1, wrong, {"do": "run", "to": "idle"})
    with pytest.raises(Unknown):
        bench_log.do(term, "t02", MODULE, 1, "m01.mark_arc.arc", {"do": "run", "to": "idle"})


def test_each_id_has_an_account_of_its_own_that_the_machine_takes():
    """Long ids, odd ids, and ids that are the name of an account of the machine."""
    ids = [class_list.folder_id(text) for text in ("T01", "root", "Ümit 7/b", "x" * 60 + "1", "x" * 60 + "2", "0042")]
    names = [accounts.account_of(trainee) for trainee in ids]
    assert len(set(names)) == len(ids) and "root" not in names
    assert all(len(name) <= 32 and name.startswith("tm-") and name == name.lower() for name in names)
    if os.geteuid() == 0:
        assert accounts.existing("nobody-of-that-name") is None


def test_a_code_opens_once_and_only_hashes_are_kept(tmp_path):
    slips = codes.new_slips(tmp_path, ["t01", "t02"])
    kept = (tmp_path / codes.NAME).read_text()
    assert not any(code in kept or code.replace("-", "") in kept for code in slips.values())
    assert codes.sign_in(tmp_path, "t01", slips["t02"], "long enough") == codes.WRONG
    assert codes.sign_in(tmp_path, "t01", slips["t01"]) == codes.CHOOSE
    assert codes.sign_in(tmp_path, "t01", slips["t01"], "short") == codes.TOO_SHORT
    assert codes.sign_in(tmp_path, "t01", f" {slips['t01'].upper()} ", "long enough") == codes.OK
    assert codes.sign_in(tmp_path, "t01", slips["t01"], "another one") == codes.WRONG
    assert codes.sign_in(tmp_path, "t01", "long enough") == codes.OK
    assert codes.sign_in(tmp_path, "t03", "long enough") == codes.NO_SLIP
    assert codes.without_slip(tmp_path, ["t01", "t02", "t03"]) == ["t03"]
    codes.new_slips(tmp_path, ["t01"])
    assert codes.sign_in(tmp_path, "t01", "long enough") == codes.WRONG


def test_the_check_names_each_lack_with_its_remedy(assigned_term, monkeypatch):
    hub = place.make(assigned_term.folder)
    os.chmod(assigned_term.folder, 0o755)
    monkeypatch.setenv("PATH", "/nowhere")
    said = [str(lack) for lack in check.missing(replace(hub, certificate="/nowhere/class.pem"))]
    for words in ("npm install -g", "useradd", "chmod 700", "/nowhere/class.pem"):
        assert any(words in line for line in said), words
    if os.geteuid() == 0:
        assert any("chown -R" in line for line in said)


def test_a_hub_folder_is_opened_again_as_it_was(assigned_term):
    """Ports and secrets stay: servers that run know them. A folder of a later version is left alone."""
    hub = place.make(assigned_term.folder, port=18123)
    secrets = [(hub.folder / name).read_text() for name in (place.PROXY_TOKEN, place.COOKIE_SECRET)]
    again = place.make(assigned_term.folder)
    assert again == hub and again.ports["public"] == 18123 and hub.folder.stat().st_mode & 0o777 == 0o700
    assert [(hub.folder / name).read_text() for name in (place.PROXY_TOKEN, place.COOKIE_SECRET)] == secrets
    settings = hub.folder / place.NAME
    settings.write_text(settings.read_text().replace('"schema": 1', '"schema": 2'))
    with pytest.raises(BadFile, match="another version"):
        place.make(assigned_term.folder)
