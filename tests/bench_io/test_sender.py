"""Sending: again with the same key until acknowledged, whatever the server or network does."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradation.bench_io.journal import Entry, Journal, State
from gradation.bench_io.sender import Answer, Sender, Unreachable


class Server:
    """Takes readings as the site does: by key, once."""

    def __init__(self, *mischief):
        self.mischief = list(mischief)
        self.posts = []
        self.taken = {}

    def __call__(self, bench, readings):
        self.posts.append((bench, [one["key"] for one in readings]))
        fault = self.mischief.pop(0) if self.mischief else None
        if fault == "lost":
            raise Unreachable("no route")
        if isinstance(fault, Answer):
            return fault
        for one in readings:
            self.taken.setdefault(one["key"], one["line"])
        if fault == "answer lost":
            raise Unreachable("connection reset")
        return Answer(
            200, {"results": [{"key": k, "outcome": "placed"} for k in self.posts[-1][1]]}
        )


@pytest.fixture
def journal():
    return Journal(":memory:")


def filled(journal, count, bench="Bench 1"):
    entries = [Entry(f"{bench}-{n}", bench, "B-1", f"{n} g", "2026-01-01") for n in range(count)]
    journal.keep(entries, {})


def sender(journal, server):
    told = []
    made = Sender(journal, server, lambda event, **facts: told.append((event, facts)))
    made.told = told
    return made


def test_what_waits_is_sent_in_order_and_in_parts(journal):
    filled(journal, 120)
    server = Server()
    made = sender(journal, server)

    pauses = [made.send() for _ in range(4)]

    assert [len(keys) for _, keys in server.posts] == [50, 50, 20]
    assert list(server.taken) == [f"Bench 1-{n}" for n in range(120)]
    assert pauses == [0.0] * 4
    assert journal.count(State.UNSENT) == 0


def test_a_lost_answer_sends_the_same_keys_again(journal):
    filled(journal, 3)
    server = Server("answer lost", "lost")
    made = sender(journal, server)

    pauses = [made.send() for _ in range(3)]

    assert server.posts[0] == server.posts[1] == server.posts[2]
    assert len(server.taken) == 3
    assert pauses == [0.5, 1.0, 0.0]


def test_pauses_grow_to_half_a_minute_and_obey_the_server(journal):
    filled(journal, 1)
    made = sender(journal, Server(*["lost"] * 9, Answer(503, wait_s=77.0), Answer(429, wait_s=1.0)))

    pauses = [made.send() for _ in range(12)]

    assert pauses == [0.5, 1, 2, 4, 8, 16, 30, 30, 30, 77, 30, 0]


@pytest.mark.parametrize("status", [401, 403, 500, 502, 503, 504, 429, 301, 302])
def test_no_such_answer_loses_a_reading(journal, status):
    filled(journal, 2)
    made = sender(journal, Server(Answer(status, {"detail": "no"})))

    assert made.send() > 0
    assert journal.count(State.UNSENT) == 2


@pytest.mark.parametrize("body", [None, "x", [], {}, {"results": 3}, {"results": [1, {"x": 1}]}])
def test_an_answer_that_acknowledges_nothing_loses_nothing(journal, body):
    filled(journal, 2)
    made = sender(journal, Server(Answer(200, body)))

    assert made.send() > 0
    assert journal.count(State.UNSENT) == 2


def test_only_what_was_acknowledged_is_settled(journal):
    filled(journal, 2)
    half = Answer(200, {"results": [{"key": "Bench 1-0", "outcome": "waiting", "reason": "why"}]})
    made = sender(journal, Server(half))

    made.send()

    assert [one.key for one in journal.unsent(9)] == ["Bench 1-1"]


def test_one_that_is_never_taken_is_put_aside_and_the_others_go_on(journal):
    filled(journal, 3)
    made = sender(
        journal, Server(Answer(400, {"detail": "line: too long"}), None, Answer(400, None), None)
    )

    made.send()

    assert [one.key for one in journal.entries(State.REFUSED)] == ["Bench 1-1"]
    assert journal.count(State.SENT) == 2


def test_what_the_server_could_not_keep_stays_to_be_looked_at(journal):
    filled(journal, 1)
    told = {"key": "Bench 1-0", "outcome": "not kept", "reason": "key used"}
    made = sender(journal, Server(Answer(200, {"results": [told]})))

    made.send()

    assert journal.count(State.REFUSED) == 1


def test_two_benches_are_sent_apart(journal):
    filled(journal, 1, "Bench 1")
    filled(journal, 1, "Bench 2")
    server = Server()
    made = sender(journal, server)

    made.send()
    made.send()

    assert [bench for bench, _ in server.posts] == ["Bench 1", "Bench 2"]


MISCHIEF = st.sampled_from(["lost", "answer lost", Answer(500), Answer(401), None])


@settings(deadline=None)
@given(st.integers(1, 120), st.lists(MISCHIEF, max_size=20))
def test_whatever_happens_every_reading_arrives_exactly_once(count, mischief):
    journal = Journal(":memory:")
    filled(journal, count)
    server = Server(*mischief)
    made = sender(journal, server)

    for _ in range(len(mischief) + count // 50 + 2):
        made.send()

    assert sorted(server.taken) == sorted(f"Bench 1-{n}" for n in range(count))
    assert journal.count(State.UNSENT) == 0
