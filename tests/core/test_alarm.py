"""What insists: until a mark shows that it was heard, and anew with a new reason."""

from warmwatch.core.alarm import Alarm, AlarmCode, AlarmTracker, Plug
from warmwatch.core.reason import Reason

FAST, MOVES = Reason("engine-fast"), Reason("moving")
Causes = dict[AlarmCode, tuple[Reason, ...]]


def after(*causes: Causes, heard_first: bool = False) -> Alarm:
    """Return the state after causes of one second each, from 10 s on; heard after the first."""
    tracker = AlarmTracker()
    for second, found in enumerate(causes):
        tracker.update(10.0 + second, found)
        if heard_first and second == 0:
            tracker.hear()
    return tracker.alarm(Plug.OUT, 5.0)


def test_it_insists_until_it_is_heard() -> None:
    """Every 8 s, blindness every 3 s; once heard only blindness and an open plug remind."""
    causes: Causes = dict.fromkeys(AlarmCode, ())
    loud, heard = after(causes), after(causes, causes, heard_first=True)
    assert loud.insists
    assert not heard.insists
    assert {one.code: one.every_s for one in loud.standing} == {
        code: 3.0 if code is AlarmCode.BLIND else 8.0 for code in AlarmCode
    }
    reminds = {one.code: one.every_s for one in heard.standing if one.every_s is not None}
    assert reminds == {AlarmCode.BLIND: 30.0, AlarmCode.PLUG_OPEN: 30.0}


def test_only_a_new_reason_makes_it_insist_anew() -> None:
    """The same reason, or one less, stays heard; what stands since when does not change."""
    both: Causes = {AlarmCode.NOT_FIT: (FAST, MOVES)}
    one: Causes = {AlarmCode.NOT_FIT: (FAST,)}
    assert not after(one, one, heard_first=True).insists
    assert not after(both, one, heard_first=True).insists
    assert after(one, both, heard_first=True).insists
    assert after(one, {}, one, heard_first=True).insists  # gone, and back
    (standing,) = after(one, both).standing
    assert (standing.since_s, standing.reasons) == (10.0, (FAST, MOVES))


def test_what_was_not_heard_comes_first_then_the_most_urgent() -> None:
    heard: Causes = {AlarmCode.BLIND: ()}
    alarm = after(
        heard, {**heard, AlarmCode.PLUG_OPEN: (), AlarmCode.TOO_HOT: ()}, heard_first=True
    )
    assert [one.code for one in alarm.standing] == ["too-hot", "plug-open", "blind"]
    assert alarm.first is alarm.standing[0]
    assert alarm.stands(AlarmCode.BLIND)
    assert not alarm.stands(AlarmCode.LEFT_LOW)


def test_the_time_of_the_plug_is_told_only_while_it_is_out() -> None:
    tracker = AlarmTracker()
    assert tracker.alarm(Plug.OUT, 5.0).plug_out_s == 5.0
    assert tracker.alarm(Plug.IN, 5.0).plug_out_s is None
    assert tracker.alarm(Plug.UNKNOWN, None).first is None
