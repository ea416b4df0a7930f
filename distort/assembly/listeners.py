"""Blind tests of several listeners, or several files of one, added up: no run is chosen, and none counts twice."""

from collections.abc import Sequence
from pathlib import Path

from distort.analysis.hearing.blind import Outcome, Tally, judged
from distort.errors import AnalysisError, SessionError
from distort.session.results.blind_results import BlindResult, OfferedPair, Run, read_blind_result, same_run
from distort.session.results.listened import Listened, ListenedPair


def added_up(paths: Sequence[Path]) -> Listened:
    """Read the files and add them up.

    Raises SessionError for a file that cannot be read, contradicts itself or another, or is of another test;
    AnalysisError where nobody has answered anything.
    """
    results = [(path, read_blind_result(path)) for path in paths]
    first_path, first = results[0]
    for path, result in results:
        if (result.test, result.loudspeaker, result.pairs) != (first.test, first.loudspeaker, first.pairs):
            raise SessionError(
                f"{path} is of another blind test than {first_path}, with other sounds or pairs: add up files "
                f"of one page alone"
            )
    listeners = _by_listener(results)
    runs = [run for own in listeners.values() for run in own]
    if not any(run.answers for run in runs):
        raise AnalysisError(
            f"nobody has answered a trial yet in {', '.join(str(path) for path in paths)}: listen first"
        )
    tallies = [[_tally(own, pair) for own in listeners.values()] for pair in first.pairs]
    return Listened(
        loudspeaker=first.loudspeaker,
        test=first.test,
        files=len(results),
        listeners=len(listeners),
        runs=len(runs),
        broken_off=sum(not run.finished for run in runs),
        repeated=sum(len(result.runs) for _, result in results) - len(runs),
        forgetful=sum(not result.kept_by_browser for _, result in results),
        pairs=tuple(_listened(*each, runs) for each in zip(first.pairs, judged(tallies), strict=True)),
    )


def _listened(pair: OfferedPair, outcome: Outcome, runs: Sequence[Run]) -> ListenedPair:
    return ListenedPair(
        pair=pair.pair,
        kind=pair.kind,
        frequency_hz=pair.frequency_hz,
        title=pair.title,
        condition=pair.condition,
        level_db_spl=pair.level_db_spl,
        source=pair.source,
        simulated=pair.simulated,
        runs=sum(run.pair == pair.pair for run in runs),
        broken_off=sum(run.pair == pair.pair and not run.finished for run in runs),
        listeners=len(outcome.by_listener),
        right=outcome.together.right,
        trials=outcome.together.trials,
        probability_by_guessing=outcome.by_guessing,
        share_low=outcome.low,
        share_high=outcome.high,
        interval_of="listeners like these" if outcome.over_listeners else "these listeners",
        shown=outcome.shown,
    )


def _by_listener(results: Sequence[tuple[Path, BlindResult]]) -> dict[str, list[Run]]:
    """All runs of each listener, each once, in the state in which it has most answers."""
    found: dict[str, dict[int, Run]] = {}
    owners: dict[str, str] = {}
    for path, result in results:
        own = found.setdefault(result.listener, {})
        for run in result.runs:
            if owners.setdefault(run.run, result.listener) != result.listener:
                raise SessionError(f"{path} holds run {run.number} of another listener's file: leave one of them out")
            known = own.get(run.number, run)
            merged = same_run(known, run)
            if merged is None:
                raise SessionError(
                    f"{path} contradicts another file of the same listener about run {run.number}: ask for the files "
                    f"as the page saved them"
                )
            own[run.number] = merged
    return {listener: list(own.values()) for listener, own in found.items()}


def _tally(runs: Sequence[Run], pair: OfferedPair) -> Tally:
    """All answers of one listener about a pair, those of broken-off runs among them."""
    own = [run for run in runs if run.pair == pair.pair]
    return Tally(right=sum(run.right for run in own), trials=sum(len(run.answers) for run in own))
