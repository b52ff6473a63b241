"""One plan judged by the project it stands under; and the process that does so, plan after plan, for `many`."""

from __future__ import annotations

import gc
import os
import pickle
import signal
import sys
from dataclasses import replace
from datetime import date
from typing import NamedTuple

from habitatlint.cli.remembering import Judged, Library
from habitatlint.settings import SettingsTrouble
from habitatlint.source import Source
from habitatlint.verdict import Verdict, packed

#: said by the process once it is ready for its first job
READY = "ready"
#: blocks that are remembered as read; beyond it they are forgotten, so that a process grows no further
MOST_BLOCKS = 20_000


class Job(NamedTuple):
    """A plan to be judged on a day; `tried` asks for its mends to be tried too."""

    source: Source
    today: date
    tried: bool


class Answer(NamedTuple):
    """What came of a job: a verdict; or what is wrong with the settings; neither where the program is at fault."""

    judged: Judged | None = None
    trouble: str = ""


def judge(job: Job) -> tuple[Verdict, Library]:
    """The verdict on a plan, and what it asked for. Raises SettingsTrouble."""
    from habitatlint.cli.assembly import pack_texts_reader
    from habitatlint.cli.project import project_of

    project = project_of(job.source.name)
    library = Library(pack_texts_reader(project.review))
    review = replace(project.review, find=library.find, find_pack=library.find_pack)
    if len(review.memory) > MOST_BLOCKS:
        review.memory.clear()
    policy = project.policy(job.today)
    report = review.check(job.source, policy)
    if job.tried:
        report = review.tried(report, policy)
    return report.verdict, library


def answered(job: Job) -> Answer:
    """The answer to a job, as it goes from one process to the other."""
    try:
        verdict, library = judge(job)
    except SettingsTrouble as trouble:
        return Answer(trouble=str(trouble))
    except Exception:  # a fault of ours: it is found again where it can be told
        return Answer()
    return Answer(Judged(packed(verdict), library.asks))


def main() -> None:
    """Does the jobs that come on standard input, one after the other, until there are no more."""
    jobs, answers = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what else may be printed is no answer
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever began it ends it
    gc.set_threshold(200_000, 20, 20)
    try:
        pickle.dump(READY, answers)
        answers.flush()
        while True:
            pickle.dump(answered(pickle.load(jobs)), answers, pickle.HIGHEST_PROTOCOL)
            answers.flush()
            gc.collect()  # a plan on the ground is large, and hangs together in circles
    except (EOFError, OSError):
        os._exit(0)  # nobody waits any more


#: how the process is begun: with this one's own ways of finding modules, and not the folder that it stands in
COMMAND = ("-P", "-c", f"import sys; sys.path[:] = sys.argv[1:]; from {__name__} import main; main()")


def command() -> list[str]:
    """The command that begins the process; raises OSError where there is none."""
    if not sys.executable:
        raise OSError("it is not known which Python this is")
    return [sys.executable, *COMMAND, *sys.path]
