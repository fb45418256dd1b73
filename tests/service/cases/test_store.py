"""The same for both databases: a write is whole or not at all, once, and against the version it was made for."""

from __future__ import annotations

import multiprocessing
import os
import random
import signal
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from service.cases.database import Database
from service.cases.store import (
    Case,
    Change,
    Filter,
    Kept,
    KeyReusedError,
    NoCaseError,
    Once,
    RepeatedError,
    Store,
    VersionError,
    Whole,
    following,
    now,
    opening,
)

STRANGE = (
    "'; DROP TABLE cases; --",
    "<script>alert(1)</script>",
    "\x00\u202e\ud800 \U0001f525 e\u0301",
    "%s %(x)s :name ${x} {{7*7}}",
    "\\'\"",
)
START = datetime(2026, 3, 1, 12, 0, 0, 123456, tzinfo=UTC)


def opened(store: Store, owner: str = "a", reference: str | None = None, at: datetime | None = None) -> Case:
    change = Change((("opened", {"n": 0}),))
    case = opening(owner, reference, change, at or now())
    store.open(case, change)
    return case


def told(store: Store, case: Case, text: str, once: Once | None = None) -> Case:
    change = Change((("message", {"text": text}),))
    after = following(case, change, now())
    store.add(case, after, change, once, Kept(case.id, 200, after.version, text.encode()) if once else None)
    return after


def texts(whole: Whole) -> list[str]:
    assert [entry.number for entry in whole.entries] == list(range(1, whole.case.version + 1))
    return [entry.body["text"] for entry in whole.entries if entry.kind == "message"]


def test_what_was_kept_comes_back(store: Store) -> None:
    case = opened(store, reference="T-1", at=START)
    for text in STRANGE:
        case = told(store, case, text)
    whole = store.whole("a", case.id)
    assert whole.case == case
    assert texts(whole) == list(STRANGE)
    assert whole.entries[0].at == START
    assert whole.entries[0].at.utcoffset() == timedelta(0)
    assert (case.version, case.state) == (1 + len(STRANGE), "open")


@pytest.mark.parametrize("text", STRANGE)
def test_no_filter_is_more_than_text(store: Store, text: str) -> None:
    case = opened(store, reference="T-1")
    wanted = text.replace("\x00", "").replace("\ud800", "")
    assert store.page("a", Filter(reference=wanted), None, 10) == ([], None)
    with pytest.raises(NoCaseError):
        store.whole(wanted, case.id)
    assert store.whole("a", case.id).case == case


def test_another_owner_s_case_is_none(store: Store) -> None:
    case = opened(store)
    for call in (store.case, store.whole):
        with pytest.raises(NoCaseError):
            call("b", case.id)
    change = Change((("message", {"text": "x"}),))
    foreign = Case(**{**case.__dict__, "owner": "b"})
    with pytest.raises(NoCaseError):
        store.add(foreign, following(foreign, change, now()), change)
    assert store.page("b", Filter(), None, 10) == ([], None)
    assert texts(store.whole("a", case.id)) == []


def test_ids_are_random(store: Store) -> None:
    ids = {opened(store).id for _ in range(50)}
    assert len(ids) == 50
    assert {len(number) for number in ids} == {24}
    for place in range(24):
        assert len({number[place] for number in ids}) > 10


def test_a_write_against_an_older_version_changes_nothing(store: Store) -> None:
    case = opened(store)
    later = told(store, case, "first")
    with pytest.raises(VersionError) as raised:
        told(store, case, "second")
    assert raised.value.version == later.version
    assert texts(store.whole("a", case.id)) == ["first"]


def test_times_never_run_backwards(store: Store) -> None:
    case = opened(store, at=now() + timedelta(days=1))
    later = told(store, case, "the clock was set back")
    assert later.changed_at == case.changed_at


# --- once ------------------------------------------------------------------------------------------------------------
def test_a_repeated_request_is_answered_as_before(store: Store) -> None:
    case = opened(store)
    once = Once("k", "f")
    assert store.answered("a", once) is None
    told(store, case, "text", once)
    kept = store.answered("a", once)
    assert kept == Kept(case.id, 200, 2, b"text")
    with pytest.raises(RepeatedError):
        told(store, case, "text", once)
    with pytest.raises(KeyReusedError):
        store.answered("a", Once("k", "other"))
    with pytest.raises(KeyReusedError):
        told(store, store.case("a", case.id), "other", Once("k", "other"))
    assert texts(store.whole("a", case.id)) == ["text"]
    assert store.answered("b", once) is None  # a key belongs to its owner


def test_an_answer_is_kept_for_a_day(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    case = opened(store)
    case = told(store, case, "text", Once("k", "f"))
    later = now() + timedelta(hours=25)
    monkeypatch.setattr("service.cases.store.now", lambda: later)
    assert store.answered("a", Once("k", "f")) is None
    told(store, case, "text", Once("k", "f"))
    assert texts(store.whole("a", case.id)) == ["text", "text"]


# --- lists -----------------------------------------------------------------------------------------------------------
def pages(store: Store, wanted: Filter, limit: int, between: Any = None) -> Iterator[Case]:
    position = None
    while True:
        found, position = store.page("a", wanted, position, limit)
        yield from found
        if position is None:
            return
        if between is not None:
            between()


def test_pages_are_newest_first_whole_and_without_doubles(store: Store) -> None:
    made = [opened(store, at=START + timedelta(seconds=n // 4)) for n in range(23)]  # times that are the same, too
    wanted = sorted(made, key=lambda case: (case.opened_at, case.id), reverse=True)
    for limit in (1, 3, 22, 23, 24):
        assert list(pages(store, Filter(), limit)) == wanted


def test_pages_stay_as_they_are_while_cases_are_opened_and_changed(store: Store) -> None:
    made = [opened(store, at=START + timedelta(seconds=n)) for n in range(12)]

    def meanwhile() -> None:
        opened(store, at=START + timedelta(days=1))
        told(store, store.case("a", made[3].id), "more")

    assert [case.id for case in pages(store, Filter(), 5, meanwhile)] == [case.id for case in reversed(made)]


def test_filters(store: Store) -> None:
    first, second = (
        opened(store, reference="T-1", at=START),
        opened(store, reference="T-2", at=START + timedelta(hours=1)),
    )
    change = Change((("outcome", {}),), "closed")
    closed = following(first, change, now())
    store.add(first, closed, change)

    def found(**wanted: Any) -> list[str]:
        return [case.id for case in pages(store, Filter(**wanted), 10)]

    assert found(state="closed") == [first.id]
    assert found(state="open") == [second.id]
    assert found(reference="T-2") == [second.id]
    assert found(reference="T-2", state="closed") == []
    assert found(since=second.opened_at) == [second.id]
    assert found(before=second.opened_at) == [first.id]
    assert found(since=START, before=START) == []
    assert found(since=START.astimezone(tz=None)) == [second.id, first.id]


# --- at the same time ------------------------------------------------------------------------------------------------
def tell_until_heard(store: Store, number: str, text: str) -> None:
    """As a client would: read the version, write against it, again if another was faster."""
    while True:
        try:
            told(store, store.case("a", number), text, Once(text, text))
        except VersionError:
            continue
        return


def test_threads_lose_and_double_nothing(store: Store) -> None:
    case = opened(store)

    def speak(who: int) -> None:
        for n in range(12):
            tell_until_heard(store, case.id, f"{who}.{n}")

    threads = [threading.Thread(target=speak, args=(who,)) for who in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    heard = texts(store.whole("a", case.id))
    assert sorted(heard) == sorted(f"{who}.{n}" for who in range(6) for n in range(12))
    for who in range(6):
        assert [text for text in heard if text.startswith(f"{who}.")] == [f"{who}.{n}" for n in range(12)]


def _speak(url: str, number: str, who: int) -> None:
    database = Database(url)
    for n in range(12):
        tell_until_heard(Store(database), number, f"{who}.{n}")
    database.close()


def test_processes_lose_and_double_nothing(store: Store, url: str) -> None:
    case = opened(store)
    spawning = multiprocessing.get_context("fork")
    speakers = [spawning.Process(target=_speak, args=(url, case.id, who)) for who in range(3)]
    for speaker in speakers:
        speaker.start()
    for speaker in speakers:
        speaker.join(60)
    assert [speaker.exitcode for speaker in speakers] == [0, 0, 0]
    assert sorted(texts(store.whole("a", case.id))) == sorted(f"{who}.{n}" for who in range(3) for n in range(12))


def test_the_same_request_twice_at_the_same_time_counts_once(store: Store) -> None:
    together, refused = threading.Barrier(4), []

    def open_once() -> None:
        change = Change((("opened", {}),))
        case = opening("a", "T-9", change, now())
        together.wait(20)
        try:
            store.open(case, change, Once("k", "f"), Kept(case.id, 201, 1, b"made"))
        except RepeatedError:
            refused.append(store.answered("a", Once("k", "f")))

    threads = [threading.Thread(target=open_once) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    [case], _ = store.page("a", Filter(reference="T-9"), None, 10)
    assert refused == [Kept(case.id, 201, 1, b"made")] * 3


def test_a_forked_child_writes_over_connections_of_its_own(store: Store) -> None:
    case = opened(store)
    with store.database.reading() as connection:  # in use while the process is forked
        connection.exec_driver_sql("SELECT 1")
        child = multiprocessing.get_context("fork").Process(target=tell_until_heard, args=(store, case.id, "child"))
        child.start()
        child.join(30)
    assert child.exitcode == 0
    tell_until_heard(store, case.id, "parent")
    assert texts(store.whole("a", case.id)) == ["child", "parent"]


# --- killed ----------------------------------------------------------------------------------------------------------
KILLS = int(os.environ.get("COLDLEG_TEST_KILLS", "15"))  # on each database; 100 in the long form


def _write_without_end(url: str, number: str, began: Any) -> None:
    store = Store(Database(url))
    case = store.case("a", number)
    for n in range(1_000_000):
        change = Change((("message", {"text": f"{n}" * 500}), ("role", {})))
        after = following(case, change, now())
        store.add(case, after, change, Once(f"{os.getpid()} {n}", "f"), Kept(number, 200, after.version, b"x" * 5000))
        case = after
        began.set()


def _let_it_notice(store: Store) -> None:
    """PostgreSQL may still be at work on what a client sent before it died."""
    others = "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()"
    while store.database.kind == "postgresql":
        with store.database.reading() as connection:
            if connection.exec_driver_sql(others + " AND state <> 'idle'").scalar_one() == 0:
                return


def test_killed_while_writing_a_case_is_as_before_or_after(store: Store, url: str) -> None:
    """Each write has two entries, the version and a kept answer: all four must have come, or none."""
    case = opened(store)
    chance, context = random.Random(8), multiprocessing.get_context("fork")
    for _ in range(KILLS):
        began = context.Event()
        writer = context.Process(target=_write_without_end, args=(url, case.id, began))
        writer.start()
        assert began.wait(30)
        time.sleep(chance.uniform(0, 0.03))
        os.kill(writer.pid or 0, signal.SIGKILL)
        writer.join(30)
        assert writer.exitcode == -signal.SIGKILL
        _let_it_notice(store)
        whole = store.whole("a", case.id)
        kinds = [entry.kind for entry in whole.entries]
        assert kinds == ["opened"] + ["message", "role"] * ((whole.case.version - 1) // 2)
        assert [entry.number for entry in whole.entries] == list(range(1, whole.case.version + 1))
        with store.database.reading() as connection:
            kept = connection.exec_driver_sql("SELECT max(version), count(*) FROM answers").one()
            entries = connection.exec_driver_sql("SELECT max(number), count(*) FROM entries").one()
        assert kept == (whole.case.version, (whole.case.version - 1) // 2)
        assert entries == (whole.case.version, whole.case.version)
    tell_until_heard(store, case.id, "still usable")
