"""The language server: what the protocol asks, handed to the desk, and what is found, handed to the editor.

What is told of a text comes in two waves. At once, what reading tells (slips of writing and naming), with the
findings of the last judgement where their words now stand. Then, once the text has been still for a moment, the whole
judgement, in a process of its own; a newer text drops it.
"""

from __future__ import annotations

import asyncio
import hashlib
import json
import os
from collections.abc import Callable, Iterable
from typing import Any, NamedTuple

from lsprotocol import types
from pygls.exceptions import JsonRpcInvalidParams
from pygls.lsp.server import LanguageServer
from pygls.protocol import LanguageServerProtocol, default_converter
from pygls.protocol.language_server import lsp_method
from pygls.uris import from_fs_path, to_fs_path

from habitatlint import __version__, files
from habitatlint.editor.bench import Bench, Unjudged
from habitatlint.editor.desk import Desk, Judgement, Mended, is_rules, too_long
from habitatlint.editor.places import Change, Places, difference
from habitatlint.editor.telling import Told, Where, moved
from habitatlint.findings import Edit, Level, Policy
from habitatlint.ground.scene import Scene
from habitatlint.language.plan import PlanText
from habitatlint.review import Review
from habitatlint.rulebook.rules import Pack
from habitatlint.source import Source, Span

#: milliseconds for which a text is still before it is judged whole
SETTLE = 250
#: a text longer than this, in characters, is read only with its judgement, and not at every key
LONGEST_READ = 250_000
#: findings whose mends are tried for one request
MOST_MENDED = 10
SEVERITY = {Level.error: 1, Level.warning: 2, Level.note: 3}


class Open(NamedTuple):
    """A text that is open: what the editor calls it, its version, and whether it is one of rules."""

    uri: str
    version: int | None
    rules: bool


class Subject:
    """A plan, or a file of rules, that is judged, with what was last found of it."""

    def __init__(self, path: str, rules: bool) -> None:
        self.path, self.rules = path, rules
        self.source = Source(path, "")
        self.plan: PlanText | None = None
        self.pack: Pack | None = None
        self.reading: list[Told] = []
        self.judged: list[Told] = []
        #: what was tried of it already, by what it would mend
        self.mends: dict[tuple[object, ...], tuple[Mended, ...]] = {}
        #: set once what stands now is judged
        self.done = asyncio.Event()
        #: the judgement that is awaited, and mends that are tried
        self.task: asyncio.Task[None] | None = None
        self.trials: set[asyncio.Task[tuple[Mended, ...]]] = set()
        self.stale = asyncio.Event()
        self._scene: Scene | None = None

    @property
    def scene(self) -> Scene:
        """The plan on the ground, as it is read now."""
        assert self.plan is not None
        if self._scene is None or self._scene.plan is not self.plan:
            self._scene = Scene(self.plan)
        return self._scene

    @property
    def files(self) -> set[str]:
        """Every file it is made of."""
        blocks = self.plan.blocks if self.plan is not None else ()
        return {self.path, *{os.path.normpath(source.name) for source in {block.placed.source for block in blocks}}}

    def settled(self, reading: list[Told]) -> None:
        """It is not read or judged: no more is told of it than this."""
        self.plan, self.pack, self.reading, self.judged = None, None, reading, []
        self.done.set()

    def drop(self) -> None:
        """What is worked out now is not wanted any more."""
        self.stale.set()
        if self.task is not None:
            self.task.cancel()
        for trial in self.trials:
            trial.cancel()
        self.done.clear()
        self.mends.clear()
        self.stale, self.task = asyncio.Event(), None


class _Protocol(LanguageServerProtocol):
    """Texts are kept by the server itself, for the library's own would be cut into other lines than ours."""

    _server: Server

    @lsp_method(types.INITIALIZE)
    def lsp_initialize(self, params: types.InitializeParams) -> Any:
        result = yield from super().lsp_initialize(params)
        result.capabilities.execute_command_provider = None  # there are no commands
        return result

    @lsp_method(types.TEXT_DOCUMENT_DID_OPEN)
    def lsp_text_document__did_open(self, params: types.DidOpenTextDocumentParams) -> None:
        self._server.opened(params.text_document)

    @lsp_method(types.TEXT_DOCUMENT_DID_CHANGE)
    def lsp_text_document__did_change(self, params: types.DidChangeTextDocumentParams) -> None:
        self._server.changed(params)

    @lsp_method(types.TEXT_DOCUMENT_DID_CLOSE)
    def lsp_text_document__did_close(self, params: types.DidCloseTextDocumentParams) -> None:
        self._server.closed(params.text_document.uri)

    def tell(self, method: str, params: dict[str, Any]) -> None:
        """A notification of plain values, which need no converting."""
        self._send_data({"jsonrpc": self.VERSION, "method": method, "params": params})


class Server(LanguageServer):
    """Open texts, the plans they belong to, and what is told of them."""

    protocol: _Protocol

    def __init__(self, review: Review, policy: Callable[[], Policy]) -> None:
        super().__init__("habitatlint", __version__, protocol_cls=_Protocol, converter_factory=default_converter)
        self.desk = Desk(review)
        #: how plans are judged at the moment
        self.policy = policy
        self.texts: dict[str, Open] = {}
        self.subjects: dict[str, Subject] = {}
        self.settle = SETTLE
        #: the editor asks for what is told; else it is handed out
        self.pulls = False
        #: what was told of each file last
        self._told: dict[str, dict[str, Any]] = {}
        self._places: dict[str, Places] = {}
        self._waiting: set[str] = set()
        self.bench = Bench(self.desk, self.log)

    # -- names and places -----------------------------------------------------------------------------

    def path(self, uri: str) -> str:
        """The path of a text on disk; what has no place there is called by its own name."""
        path = to_fs_path(uri)
        return os.path.normpath(path) if path else uri

    def uri(self, path: str) -> str:
        if path in self.texts:
            return self.texts[path].uri
        return (from_fs_path(path) or path) if os.path.isabs(path) else path

    def places(self, source: Source) -> Places:
        """The places of a text, in the units that the editor counts in."""
        held = self._places.get(source.name)
        if held is None or held.text is not source.text:
            encoding = str(getattr(self.workspace.position_encoding, "value", self.workspace.position_encoding))
            held = self._places[source.name] = Places(source.text, encoding)  # type: ignore[arg-type]
        return held

    def range(self, span: Span) -> types.Range:
        return types.Range(*(types.Position(*place) for place in self.ends(span.source, span.start, span.end)))

    def ends(self, source: Source, start: int, end: int) -> tuple[tuple[int, int], tuple[int, int]]:
        places = self.places(source)
        return places.position(start), places.position(end)

    def offset(self, path: str, position: types.Position) -> int:
        return self.places(self.desk.open[path]).offset(position.line, position.character)

    # -- texts ----------------------------------------------------------------------------------------

    def opened(self, text: types.TextDocumentItem) -> None:
        path = self.path(text.uri)
        rules = is_rules(path, text.language_id)
        self.texts[path] = Open(text.uri, text.version, rules)
        self.desk.open[path] = Source(path, text.text)
        self._told.pop(path, None)
        self._look_at(path, at_once=True)

    def changed(self, params: types.DidChangeTextDocumentParams) -> None:
        path = self.path(params.text_document.uri)
        if path not in self.texts:
            return
        for one in params.content_changes:
            before = self.desk.open[path]
            if isinstance(one, types.TextDocumentContentChangePartial):
                places = self.places(before)
                start = places.offset(one.range.start.line, one.range.start.character)
                end = max(start, places.offset(one.range.end.line, one.range.end.character))
                inner = difference(before.text[start:end], one.text)
                change = Change(start + inner.start, start + inner.end, inner.length)
                text = before.text[:start] + one.text + before.text[end:]
            else:
                change, text = difference(before.text, one.text), one.text
            self.desk.open[path] = Source(path, text)
            for subject in self.subjects.values():
                subject.reading = moved(subject.reading, path, change)
                subject.judged = moved(subject.judged, path, change)
        self.texts[path] = self.texts[path]._replace(version=params.text_document.version)
        self._look_at(path)

    def closed(self, uri: str) -> None:
        path = self.path(uri)
        if self.texts.pop(path, None) is None:
            return
        self.desk.open.pop(path, None)
        left = {one for subject in self.subjects.values() if path in subject.files for one in subject.files}
        for subject in list(self.subjects.values()):
            if not subject.files & self.texts.keys():
                self._leave(subject)
            elif path in subject.files:
                self._look(subject)
        self.publish(left)
        self._places.pop(path, None)

    def stirred(self, paths: Iterable[str]) -> None:
        """Files that changed on disk: what is made of them, or may be, is looked at anew."""
        changed = set(paths)
        for subject in list(self.subjects.values()):
            takes_in = subject.rules or "use pack" in subject.source.text or "include" in subject.source.text
            if takes_in or subject.files & changed:
                self._look(subject)

    # -- looking at them ------------------------------------------------------------------------------

    def subjects_of(self, path: str) -> list[Subject]:
        """The plans that a text is part of, that of its own name first."""
        found = [subject for subject in self.subjects.values() if path in subject.files]
        return sorted(found, key=lambda subject: subject.path != path)

    def subject_of(self, uri: str) -> tuple[str, Subject | None]:
        """A text's path and the plan it is read in; None where it is not open, or not read."""
        path = self.path(uri)
        found = self.subjects_of(path) if path in self.texts else []
        if found and path in self._waiting:
            self._look_now(path)
            found = self.subjects_of(path)
        return path, found[0] if found else None

    def _look_at(self, path: str, at_once: bool = False) -> None:
        """A text is new or has changed. Several changes that come together are looked at once."""
        if at_once or self.pulls:
            self._look_now(path, at_once)
        elif path not in self._waiting:
            self._waiting.add(path)
            asyncio.get_running_loop().call_soon(self._look_now, path)

    def _look_now(self, path: str, at_once: bool = False) -> None:
        self._waiting.discard(path)
        if path not in self.texts:
            return
        subjects = self.subjects_of(path)
        if not subjects:
            rules = self.texts[path].rules
            mains = [path] if rules or too_long(self.desk.open[path]) else self.desk.mains(path)
            subjects = [self.subjects.setdefault(main, Subject(main, rules)) for main in mains]
        for subject in subjects:
            self._look(subject, at_once, again=subject.path == path and not at_once)

    def _leave(self, subject: Subject) -> None:
        """It is judged no longer; whoever waits for it waits no longer."""
        subject.drop()
        subject.settled([])
        self.subjects.pop(subject.path, None)

    def _look(self, subject: Subject, at_once: bool = False, *, again: bool = False) -> None:
        """Reads a plan or a file of rules, tells what reading tells, and has it judged; `again` where nothing has
        changed but its own text."""
        subject.drop()
        before = subject.files
        try:
            source = subject.source = self.desk.source(subject.path)
        except files.FileTrouble:
            subject.settled([])
            return self.publish(before)
        if long := too_long(source):
            subject.settled([long])
            return self.publish(before)
        if len(source.text) <= LONGEST_READ:
            self._read(subject, source, again=again)
            for path in subject.files - {subject.path}:
                part = self.subjects.get(path)
                if part is not None and part.plan is not None and part.plan.head is None:
                    self._leave(part)  # it is judged here from now on
            self.publish(before | subject.files)
        else:
            subject.plan = subject.pack = None
        subject.task = asyncio.get_running_loop().create_task(self._judge(subject, 0 if at_once else self.settle))
        return None

    def _read(self, subject: Subject, source: Source, *, again: bool) -> None:
        if subject.rules:
            subject.pack = self.desk.read_rules(source)
            subject.reading = self.desk.rules_told(subject.pack, source.name, self.policy())
        else:
            before = subject.plan
            subject.plan = self.desk.read(source, before if again else None)
            if before is None or _facts(before) != _facts(subject.plan):  # else what was told has moved with the text
                subject.reading = self.desk.read_told(subject.plan, self.policy())

    async def _judge(self, subject: Subject, settle: int) -> None:
        """Judges what stands once it has been still for so long, and tells what is found."""
        source, stale = subject.source, subject.stale
        if settle:
            await asyncio.sleep(settle / 1000)
        try:
            judgement = await self.bench.judge(source, subject.rules, self.policy())
            if subject.plan is None and not subject.rules:  # too long to be read at every key
                subject.plan = await asyncio.get_running_loop().run_in_executor(None, self.desk.read, source)
        except Unjudged as error:
            self.log(f"a fault of this program, not of your text: {error}; please report it")
            judgement = Judgement(subject.reading, [])
        if stale.is_set():
            return
        before = subject.files
        subject.reading, subject.judged = judgement.reading, judgement.telling
        subject.done.set()
        self.publish(before | subject.files, judged=True)

    # -- telling --------------------------------------------------------------------------------------

    def told(self, path: str) -> list[Told]:
        """What is told of one file, by whichever plans it is part of, in order."""
        ones = [
            one
            for subject in self.subjects.values()
            for one in (*subject.reading, *subject.judged)
            if one.where.path == path or os.path.normpath(one.where.path) == path
        ]
        unique = {one.key: one for one in ones}
        return sorted(unique.values(), key=lambda one: (one.where.start, one.where.end, one.rule, one.words))

    def diagnostics(self, path: str) -> list[dict[str, Any]]:
        found = []
        for one in self.told(path):
            place = self._where(one.where)
            if place is None:
                continue
            related = [(self._where(where), where, what) for where, what in one.related]
            told: dict[str, Any] = {
                "range": place, "severity": SEVERITY[one.level], "code": one.rule, "source": "habitatlint",
                "message": one.words,
            }  # fmt: skip
            if related and self._takes_related():
                told["relatedInformation"] = [
                    {
                        "location": {"uri": self.uri(os.path.normpath(where.path)), "range": at},
                        "message": what or "here",
                    }
                    for at, where, what in related
                    if at is not None
                ]
            elif related:
                told["message"] += "".join(
                    f"\nsee: {what} (line {at['start']['line'] + 1})" for at, _, what in related if at is not None
                )
            found.append(told)
        return found

    def _where(self, where: Where) -> dict[str, Any] | None:
        source = self.text_of(where.path)
        if source is None:
            return None
        start, end = self.ends(source, where.start, where.end)
        return {"start": {"line": start[0], "character": start[1]}, "end": {"line": end[0], "character": end[1]}}

    def text_of(self, path: str) -> Source | None:
        """A file's text as a plan has it: open, or as it was last read."""
        if path in self.desk.open:
            return self.desk.open[path]
        for subject in self.subjects.values():
            for block in subject.plan.blocks if subject.plan is not None else ():
                if block.placed.source.name == path:
                    return block.placed.source
        return None

    def _takes_related(self) -> bool:
        text = self.client_capabilities.text_document
        return bool(text and text.publish_diagnostics and text.publish_diagnostics.related_information) or self.pulls

    def publish(self, paths: Iterable[str], *, judged: bool = False) -> None:
        """Tells what is found of files, where it is not what was told before."""
        if self.pulls:
            if judged:
                self._refresh()
            return
        for path in sorted(paths):
            told: dict[str, Any] = {"uri": self.uri(path), "diagnostics": self.diagnostics(path)}
            if path in self.texts and self.texts[path].version is not None:
                told["version"] = self.texts[path].version
            if self._told.get(path) != told and (path in self.texts or path in self._told or told["diagnostics"]):
                self._told[path] = told
                self.protocol.tell(types.TEXT_DOCUMENT_PUBLISH_DIAGNOSTICS, told)

    def _refresh(self) -> None:
        """Asks an editor that asks for diagnostics to ask again."""
        if self.refreshes():
            self.protocol.send_request(types.WORKSPACE_DIAGNOSTIC_REFRESH)

    def refreshes(self) -> bool:
        workspace = self.client_capabilities.workspace
        return bool(workspace and workspace.diagnostics and workspace.diagnostics.refresh_support)

    async def pulled(self, params: types.DocumentDiagnosticParams) -> dict[str, Any]:
        """What is told of a text, to an editor that asks; one that cannot be asked to ask again gets it all at once."""
        path, subject = self.subject_of(params.text_document.uri)
        if subject is not None and not self.refreshes() and subject.task is not None:
            await subject.done.wait()
        found = self.diagnostics(path)
        mark = hashlib.sha256(json.dumps(found).encode()).hexdigest()[:16]
        if params.previous_result_id == mark:
            return {"kind": "unchanged", "resultId": mark}
        return {"kind": "full", "resultId": mark, "items": found}

    def log(self, text: str) -> None:
        self.protocol.tell(types.WINDOW_LOG_MESSAGE, {"type": 1, "message": f"habitatlint: {text}"})

    def report_server_error(self, error: Exception, source: Any) -> None:
        if not isinstance(error, JsonRpcInvalidParams):  # a refusal is answered to whoever asked
            self.log(f"{type(error).__name__}: {error}")

    # -- mends ----------------------------------------------------------------------------------------

    async def mends(self, path: str, start: int, end: int) -> list[tuple[Told, str, list[Edit]]]:
        """Findings that touch a stretch, each with its mends that were tried and clear it, in words and as edits."""
        _, subject = self.subject_of(self.uri(path))
        if subject is None or subject.rules or subject.plan is None:
            return []
        await subject.done.wait()
        stale = subject.stale
        here = [one for one in self.told(path) if one.mends and one.where.start <= end and start <= one.where.end]
        found = []
        for one in here[:MOST_MENDED]:
            tried = await self._tried(subject, one)
            if stale.is_set():
                return []
            found += [(one, mend.say, self._edits(mend)) for mend in tried]
        return found

    async def _tried(self, subject: Subject, one: Told) -> tuple[Mended, ...]:
        """The mends of one thing told that clear it; none where it has become stale meanwhile."""
        if one.key not in subject.mends:
            stale, source = subject.stale, subject.source
            trial = asyncio.get_running_loop().create_task(self.bench.mends(source, one, self.policy()))
            subject.trials.add(trial)
            try:
                tried = await trial
            except asyncio.CancelledError:
                if stale.is_set():
                    return ()
                raise
            except Unjudged as error:
                self.log(f"mends that cannot be tried: {error}; please report it")
                return ()
            finally:
                subject.trials.discard(trial)
            if stale.is_set():
                return ()
            subject.mends[one.key] = tried
        return subject.mends[one.key]

    def _edits(self, mend: Mended) -> list[Edit]:
        held = [(self.text_of(where.path), where, text) for where, text in mend.edits]
        return [Edit(Span(source, where.start, where.end), text) for source, where, text in held if source is not None]

    def edit(self, edits: Iterable[Edit]) -> types.WorkspaceEdit:
        """Edits of texts in the form that the editor takes: with versions where it can."""
        by_path: dict[str, list[types.TextEdit]] = {}
        for edit in edits:
            by_path.setdefault(edit.span.source.name, []).append(types.TextEdit(self.range(edit.span), edit.text))
        workspace = self.client_capabilities.workspace
        if workspace and workspace.workspace_edit and workspace.workspace_edit.document_changes:
            changes = []
            for path, texts in by_path.items():
                held = self.texts.get(os.path.normpath(path))
                of = types.OptionalVersionedTextDocumentIdentifier(
                    uri=self.uri(os.path.normpath(path)), version=held.version if held else None
                )
                changes.append(types.TextDocumentEdit(text_document=of, edits=list(texts)))
            return types.WorkspaceEdit(document_changes=list(changes))
        return types.WorkspaceEdit(changes={self.uri(os.path.normpath(path)): texts for path, texts in by_path.items()})

    def shut(self) -> None:
        """Nothing that is worked out is wanted any more."""
        for subject in self.subjects.values():
            subject.drop()
        self.bench.stop()


def _facts(plan: PlanText) -> list[object]:
    """The slips of a plan without their places, and how many lie in each block."""
    return [(slip._replace(span=None, related=(), place=None), len(slip.related)) for slip in plan.slips]  # type: ignore[arg-type]
