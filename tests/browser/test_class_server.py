"""A class on one machine: a real hub, real accounts, two trainees in browsers; and what none of them may reach."""

import json
import os
import pwd
import signal
import threading
import time
from pathlib import Path

import psutil
import pytest
from sqlalchemy import func, select

from grader import catalogue
from grader.course.grading import adjust, mark_class
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.exercise import hand_in, issued
from grader.hub import codes, run
from grader.records import database, schema
from grader.reports.feedback import return_run
from tests import work
from tests.browser.conftest import READY, field, until
from tests.hub.machine import PASSWORD, ClassServer, Person

MODULE, ARC = "m01_timing", "m01.mark_arc.arc"
LATER = f"{work.NEXT}-03-31 17:00"


@pytest.fixture(scope="module")
def server(_assigned_term):
    """The class server of a term with three trainees and a lesson handed out; all is gone afterwards."""
    made = ClassServer(_assigned_term)
    try:
        yield made
    finally:
        made.end()


@pytest.fixture(scope="module")
def people(server):
    """All three have signed in for the first time, each with the code of his slip, and have their start page."""
    trio = [Person(server, trainee) for trainee in ("t01", "t02", "t03")]
    for person in trio:
        person.sign_in(server.codes[person.trainee], chosen=PASSWORD)
    for person in trio:
        person.start_page()
    return {person.trainee: person for person in trio}


def test_only_the_owner_of_a_slip_gets_in(server):
    """A code opens once, together with a password of one's own; nobody gets in with an id alone, or by guessing."""
    stranger = Person(server, "t03")
    for name, typed, chosen, says in (
        ("t03", "aaaa-bbbb-cccc", PASSWORD, "do not belong together"),
        ("t99", server.codes["t03"], PASSWORD, "do not belong together"),
        ("root", "root", PASSWORD, "do not belong together"),
        ("t03", server.codes["t03"], "", "choose a password"),
        ("t03", server.codes["t03"], "short", "at least 8"),
        ("t03", server.codes["t03"], server.codes["t03"], "is not the code"),
    ):
        status, page = stranger.sign_in(typed, chosen, name=name)
        assert status == 403 and says in page, (name, typed, page)
    assert (server.hub.folder / codes.NAME).stat().st_mode & 0o077 == 0
    assert server.codes["t03"] not in (server.hub.folder / codes.NAME).read_text()


def test_an_id_is_one_person_however_it_is_written_and_a_new_slip_shuts_the_old_password(server, people):
    person = Person(server, "t03")
    assert person.sign_in(name=" T03 ")[0] == 200 and "/user/t03" in person.at
    ((_, code),) = run.slips(server.hub, ["T03"])
    assert Person(server, "t03").sign_in()[0] == 403
    assert Person(server, "t03").sign_in(code.upper().replace("-", " "), PASSWORD)[0] == 200
    assert Person(server, "t03").sign_in()[0] == 200
    assert Person(server, "t03").sign_in(code, PASSWORD)[0] == 403, "a code opens once"


def in_browser(server, browser, trainee):
    context = browser.new_context(viewport={"width": 1100, "height": 900}, locale="en-GB")
    page = context.new_page()
    page.on("dialog", lambda dialog: dialog.accept())
    page.goto(f"{server.url}/hub/login")
    page.get_by_label("Your id").fill(trainee)
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_selector(".tm-start-lesson", timeout=60_000)
    return page


def answers(server, trainee):
    path = server.work(trainee) / MODULE / "answers.json"
    return {k: a["raw"] for k, a in json.loads(path.read_text())["answers"].items()} if path.exists() else {}


def test_two_trainees_work_hand_in_and_read_what_comes_back(server, people, browser):
    """Each has his own numbers at the same time; a click hands in; the mark comes back to the one whose it is."""
    pages = {trainee: in_browser(server, browser, trainee) for trainee in ("t01", "t02")}
    for page in pages.values():
        page.locator(".tm-start-lesson").first.get_by_role("link", name="Open").click()
    typed = {}
    for trainee, page in pages.items():
        page.wait_for_selector(READY, state="attached", timeout=90_000)
        right = work.right_answers(catalogue.module(MODULE), work.issue_of(server.term, trainee))
        typed[trainee] = right[ARC] if trainee == "t01" else "0.001"
        field(page, ARC).fill(typed[trainee])
    for trainee, page in pages.items():
        until(page, lambda trainee=trainee: answers(server, trainee).get(ARC) == typed[trainee])
        shown = page.locator(".tm-top").inner_text()
        assert "Saved as you type." in shown and str(server.home(trainee)) not in shown
        page.get_by_role("button", name="Hand in").click()
        page.wait_for_selector("text=Your instructor has it.")
        page.get_by_role("link", name="All your lessons").click()
        page.wait_for_selector(".tm-start-lesson")
        assert "Handed in" in page.locator(".tm-start-lesson").first.inner_text()
    for trainee in pages:
        (came,) = (server.term_folder / "inbox" / trainee).glob("*.zip")
        assert came.stat().st_mode & 0o777 == 0o600 and came.parent.stat().st_mode & 0o777 == 0o700

    assert server.as_instructor(collect.collect).taken == 2
    server.as_instructor(mark_class.mark, MODULE)
    server.as_instructor(return_run.give_back, MODULE, partly=True)
    for trainee, page in pages.items():
        page.reload()
        page.get_by_role("link", name="Look at your returned sheet").click()
        page.wait_for_load_state()
        sheet = page.content()
        assert typed[trainee] in sheet and work.issue_of(server.term, trainee).trainee in sheet
        page.context.close()


def test_lab_and_terminals_lead_nowhere_but_to_the_start_page(server, people):
    person, base = people["t01"], "/user/t01"
    for path in ("/lab", "/lab/tree/x", "/tree", "/tree/..", "/doc/tree/start.ipynb", "/"):
        assert person.ask(base + path)[0] == 200 and person.at.endswith("/timing-mark/"), path
    for path in ("/terminals/1", "/api/terminals", "/formgrader", "/assignments", "/validate"):
        assert person.ask(base + path)[0] == 404, path


def test_what_the_instructor_does_shows_at_the_next_look(server, people):
    """A module handed out, and a due time moved for one, without a file that travels by hand."""
    person = people["t03"]
    assert "2. Points and dwell</h2><p><strong>Practice" in person.start_page()
    server.as_instructor(assign.assign, "m02_dwell", due=LATER)
    assert "2. Points and dwell</h2><p><strong>Assessed.</strong>" in person.start_page()
    assert (server.work("t03") / "m02_dwell" / issued.NAME).stat().st_uid == pwd.getpwnam("tm-t03").pw_uid
    server.as_instructor(adjust.extend, "T03", MODULE, until=f"{work.NEXT}-04-05 12:00", reason="ill")
    assert f"Due {work.NEXT}-04-05 12:00" in person.start_page()


def put_answer(server, trainee, text, module=MODULE):
    """What a lesson keeps when something is typed, written under the trainee's own account."""
    record = work.issue_of(server.term, trainee, module)
    path = next(path for _, _, path in catalogue.module(module).parts())
    sheet = work.sheet_of(record, {path: text})
    from grader.exercise import sheet as sheets

    target = server.work(trainee) / module / "answers.json"
    target.write_bytes(sheets.dump(sheet))
    os.chown(target, *(getattr(pwd.getpwnam(f"tm-{trainee}"), name) for name in ("pw_uid", "pw_gid")))


def inbox(server, trainee):
    return sorted((server.term_folder / "inbox" / trainee).glob("*.zip"))


def hand_in_by_button(person, folder):
    page = person.start_page()
    return person.ask(f"/user/{person.trainee}/timing-mark/hand-in", {"_xsrf": person.xsrf(page), "folder": folder})


def test_a_hand_in_is_neither_lost_nor_doubled(server, people):
    """The same work sent again is one hand-in; changed work is another; what is no work of one's own is refused."""
    person = people["t03"]
    put_answer(server, "t03", "17")
    for _ in range(2):
        assert "Handed in: receipt" in hand_in_by_button(person, MODULE)[1]
    assert len(inbox(server, "t03")) == 1
    packed = (server.work("t03") / MODULE / hand_in.zip_name(work.issue_of(server.term, "t03"))).read_bytes()
    threads = [threading.Thread(target=person.to_classwork, args=("hand-in", packed)) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(inbox(server, "t03")) == 1
    put_answer(server, "t03", "18")
    assert "Handed in: receipt" in hand_in_by_button(person, MODULE)[1]
    assert len(inbox(server, "t03")) == 2
    other = people["t02"]
    assert other.to_classwork("hand-in", packed)[0] == 403, "another's work"
    assert other.to_classwork("hand-in", b"PK\x03\x04 no zip")[0] == 400
    assert len(inbox(server, "t03")) == 2 and not inbox(server, "t02")


def test_the_service_answers_nobody_without_a_token_of_his_own(server, people):
    mine = people["t02"]
    for token in ("x", "", server.hub.secret("ahead.token")):
        assert mine.to_classwork("works", token=token or " ")[0] == 403
    for path in (
        "handout/m03_heat_range/1", "handout/m01_timing/7", "returned/m01_timing/9", "handout/..%2F..%2Fterm.key/1",
        "returned/../../term.key", "bench/m01_timing/1/m01.mark_arc.arc",
    ):  # fmt: skip
        status, body = mine.to_classwork(path)
        assert status == 404 and server.term.key.hex().encode() not in body, path


@pytest.fixture
def probe(server, people):
    """What a second account reaches: runs a line of Python as t02, gives what it prints."""

    def reached(line):
        ran = server.shell("t02", os.environ["PATH"].split(os.pathsep)[0] + "/python", "-c", line)
        return ran.stdout.strip() or ran.stderr.strip().splitlines()[-1]

    return reached


def test_a_second_account_opens_no_file_of_others(server, probe):
    """Term folder, key, records, the list of passwords, another's home and the sockets of his kernel."""
    put_answer(server, "t01", "12")
    shut = [
        server.term_folder, server.term_folder / "term.key", server.term_folder / "gradebook.db",
        server.term_folder / "inbox", server.term_folder / "release", server.hub.folder, server.hub.folder / codes.NAME,
        server.hub.folder / "jupyterhub.sqlite", server.hub.folder / "proxy.token", server.hub.folder / "hub.log",
        server.home("t01"), server.work("t01") / MODULE / "answers.json", server.work("t01") / MODULE / issued.NAME,
        server.runtime("t01"), server.runtime("t01") / "r", server.hub.runtime,
    ]  # fmt: skip
    for path in shut:
        assert path.exists() and "PermissionError" in probe(
            f"import os; p={str(path)!r}; print(os.listdir(p) if os.path.isdir(p) else open(p, 'rb').read())"
        ), path
    home = server.home("t02")
    assert probe(f"open({str(home / 'own')!r}, 'w').write('x'); print('mine')") == "mine", "the probe itself works"


def test_a_second_account_looks_into_no_process_of_others(server, people, probe):
    """Environment, memory and open files of another's server, hub and service; and it can stop none of them."""
    theirs = [p.pid for p in psutil.process_iter(["username"]) if p.info["username"] in ("tm-t01", "tmtest-teacher")]
    theirs.append(server.process.pid)
    assert len(theirs) >= 3
    for pid in theirs:
        for name in ("environ", "maps", "mem"):
            assert "PermissionError" in probe(f"print(open('/proc/{pid}/{name}','rb').read(1))"), (pid, name)
        for name in ("fd", "cwd"):
            assert "PermissionError" in probe(f"import os; print(os.listdir('/proc/{pid}/{name}'))"), (pid, name)
        assert "PermissionError" in probe(f"import os; os.kill({pid}, 0); print('reached')"), pid
    assert all(psutil.pid_exists(pid) for pid in theirs)


def test_kernels_speak_through_files_and_not_through_ports(server, people):
    """Where a kernel listens at a port, a second account overhears what is typed."""
    person = people["t01"]
    page = person.start_page()
    cookie = next(c.value for c in person.cookies if c.name == "_xsrf" and c.path == "/user/t01/")
    status, body = person.ask(
        "/user/t01/api/kernels", b'{"name":"python3"}',
        headers={"X-XSRFToken": cookie, "Content-Type": "application/json"},
    )  # fmt: skip
    assert status == 201, body + page[:100]
    kernel = json.loads(body)["id"]
    deadline = time.monotonic() + 20
    while not (found := list((server.runtime("t01") / "r").glob("kernel-*-ipc-*"))) and time.monotonic() < deadline:
        time.sleep(0.2)
    assert found
    for path in (server.runtime("t01") / "r").glob("kernel-*.json"):
        assert json.loads(path.read_text())["transport"] == "ipc"
        assert path.stat().st_mode & 0o077 == 0
    person.ask(f"/user/t01/api/kernels/{kernel}", method="DELETE", headers={"X-XSRFToken": cookie})


def test_a_trainees_token_opens_only_his_own(server, people, probe):
    """The hub's own interface, the proxy's, and another's server, with the token that a kernel can find."""
    token, ports = people["t02"].token(), server.hub.ports
    hub = f"http://127.0.0.1:{ports['hub']}/hub/api"

    def status(address, method="GET", data=None, with_token=token):
        line = (
            "import urllib.request as u, urllib.error as e\n"
            f"r=u.Request({address!r}, method={method!r}, data={data!r}, headers={{'Authorization':'token {with_token}'}})\n"
            "try: print(u.urlopen(r, timeout=20).status)\nexcept e.HTTPError as p: print(p.code)"
        )
        return probe(line)

    assert status(f"{hub}/user") == "200", "it is a token"
    refused = ("403", "404")
    assert status(f"{hub}/users") in refused and status(f"{hub}/services") in refused
    assert status(f"{hub}/users/t01") in refused and status(f"{hub}/users/t01/server", "POST", b"{}") in refused
    assert (
        status(f"{hub}/users/t01/server", "DELETE") in refused and status(f"{hub}/shutdown", "POST", b"{}") in refused
    )
    assert status(f"{hub}/users/t02/tokens", "POST", b"{}") in refused and status(f"{hub}/users/t04", "POST") in refused
    assert status(f"http://127.0.0.1:{ports['proxy']}/api/routes") in refused
    assert status(f"{server.url}/user/t01/api/contents") in refused
    assert status(f"{server.url}/user/t02/api/contents") == "200"
    for process in psutil.process_iter(["username", "cmdline"]):
        if process.info["username"] == "tm-t01" and "trainee_server" in " ".join(process.info["cmdline"]):
            port = next(c.laddr.port for c in process.net_connections("tcp") if c.status == psutil.CONN_LISTEN)
            assert status(f"http://127.0.0.1:{port}/user/t01/api/contents") in refused
    two = people["t02"]
    assert two.ask("/user/t01/timing-mark/")[0] in (403, 404) or "/hub/" in two.at
    assert two.ask("/hub/admin")[0] == 403


def test_bounds_hold(server, people):
    """More memory, more processes or a larger file than a lesson needs stops there, and the class goes on."""
    process = next(
        p for p in psutil.process_iter(["username", "cmdline"])
        if p.info["username"] == "tm-t02" and "trainee_server" in " ".join(p.info["cmdline"])
    )  # fmt: skip
    bounds = Path(f"/proc/{process.pid}/limits").read_text()
    for name, most in (("Max address space", 3 * 2**30), ("Max processes", 400), ("Max file size", 200_000_000)):
        line = next(line for line in bounds.splitlines() if line.startswith(name))
        assert line.split()[-3:-1] == [str(most)] * 2 or line.split()[-2:] == [str(most)] * 2, line
    assert server.home("t02").stat().st_mode & 0o777 == 0o700


def test_hub_again_server_culled_what_was_typed_is_there(server, people):
    """While the hub is away who works goes on; a server that was ended comes back with everything; nothing is doubled."""
    person = people["t02"]
    person.start_page()
    put_answer(server, "t02", "23", "m02_dwell")
    before = {p.pid for p in psutil.process_iter(["username"]) if p.info["username"] == "tm-t02"}
    run.stop_hub(server.hub, server.process)
    page = person.ask("/user/t02/timing-mark/")[1]
    assert "1 of" in page and "does not answer just now" in page, "the page lives without the hub"
    said = person.ask("/user/t02/timing-mark/hand-in", {"_xsrf": person.xsrf(page), "folder": "m02_dwell"})[1]
    assert "nothing was handed in" in said and not inbox(server, "t02"), "no false receipt"
    assert "Not handed in yet" in said
    server.process = run.start(server.hub)
    assert {p.pid for p in psutil.process_iter(["username"]) if p.info["username"] == "tm-t02"} >= before
    assert "Handed in: receipt" in hand_in_by_button(person, "m02_dwell")[1] and len(inbox(server, "t02")) == 1

    for process in psutil.process_iter(["username"]):
        if process.info["username"] == "tm-t02":
            process.send_signal(signal.SIGKILL)
    assert "1 of" in person.start_page() and len(inbox(server, "t02")) == 1
    assert server.as_instructor(collect.collect).taken == 3  # two of t03, one of t02
    assert server.as_instructor(collect.collect).taken == 0
    with database.reading(server.term) as connection:
        count = connection.execute(select(func.count()).select_from(schema.hand_in)).scalar_one()
    assert count == 5
