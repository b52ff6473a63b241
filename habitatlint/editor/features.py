"""What an editor may ask, feature by feature: each a few lines over the rooms below."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Sequence
from typing import Any

from lsprotocol import types
from pygls.exceptions import JsonRpcInvalidParams

from habitatlint.editor import completing, knowing, layout, names, outline, rulefiles
from habitatlint.editor.colours import LEGEND, coloured
from habitatlint.editor.desk import too_long
from habitatlint.editor.server import Server, Subject
from habitatlint.findings import Edit
from habitatlint.language.blocks import SetLevel, SetLimit, Waive
from habitatlint.source import Source, Span

#: what stands in the outline, by its noun; all else is an object
SYMBOLS = {
    "plan": types.SymbolKind.File, "boundary": types.SymbolKind.Namespace, "core": types.SymbolKind.Namespace,
    "path": types.SymbolKind.Interface, "crew": types.SymbolKind.Class, "work": types.SymbolKind.Array,
    "step": types.SymbolKind.Event, "rule": types.SymbolKind.Function, "example": types.SymbolKind.Event,
}  # fmt: skip
KINDS = {
    "noun": types.CompletionItemKind.Keyword, "property": types.CompletionItemKind.Property,
    "word": types.CompletionItemKind.EnumMember, "name": types.CompletionItemKind.Variable,
    "value": types.CompletionItemKind.Value, "rule": types.CompletionItemKind.Reference,
    "function": types.CompletionItemKind.Function, "pack": types.CompletionItemKind.Module,
}  # fmt: skip
WATCHED = ("**/*.habitat", "**/*.rules")


def register(server: Server) -> None:
    """Makes every feature known to the library that speaks the protocol."""
    _session(server)
    _asked_of_a_place(server)
    _asked_of_a_text(server)
    _asked_of_findings(server)


def _session(server: Server) -> None:
    @server.feature(types.INITIALIZE)
    def initialize(params: types.InitializeParams) -> None:
        _settings(server, params.initialization_options)
        text = params.capabilities.text_document
        server.pulls = bool(text and text.diagnostic)
        if server.pulls:  # never both asked for and handed out
            options = types.DiagnosticOptions(
                identifier="habitatlint", inter_file_dependencies=True, workspace_diagnostics=False
            )
            server.feature(types.TEXT_DOCUMENT_DIAGNOSTIC, options)(_pulled(server))

    @server.feature(types.INITIALIZED)
    def initialized(params: types.InitializedParams) -> None:
        workspace = server.client_capabilities.workspace
        watched = workspace.did_change_watched_files if workspace else None
        if watched and watched.dynamic_registration:
            patterns = [types.FileSystemWatcher(glob_pattern=pattern) for pattern in WATCHED]
            server.client_register_capability(
                types.RegistrationParams([
                    types.Registration(
                        "watched", types.WORKSPACE_DID_CHANGE_WATCHED_FILES,
                        types.DidChangeWatchedFilesRegistrationOptions(patterns),
                    )
                ])
            )  # fmt: skip

    @server.feature(types.WORKSPACE_DID_CHANGE_CONFIGURATION)
    def configured(params: types.DidChangeConfigurationParams) -> None:
        settings = params.settings
        _settings(server, settings.get("habitatlint") if isinstance(settings, dict) else None)

    @server.feature(types.WORKSPACE_DID_CHANGE_WATCHED_FILES)
    def stirred(params: types.DidChangeWatchedFilesParams) -> None:
        server.stirred({server.path(change.uri) for change in params.changes})

    @server.feature(types.TEXT_DOCUMENT_DID_SAVE)
    def saved(params: types.DidSaveTextDocumentParams) -> None:
        server.stirred({server.path(params.text_document.uri)})


def _settings(server: Server, options: Any) -> None:
    """`settle`: the milliseconds for which a text is still before it is judged whole."""
    settle = options.get("settle") if isinstance(options, dict) else None
    if isinstance(settle, int | float) and 0 <= settle <= 60_000:
        server.settle = int(settle)


def _pulled(server: Server) -> Callable[[types.DocumentDiagnosticParams], Any]:
    async def pulled(params: types.DocumentDiagnosticParams) -> dict[str, Any]:
        return await server.pulled(params)

    return pulled


def _asked_of_a_place(server: Server) -> None:
    @server.feature(types.TEXT_DOCUMENT_HOVER)
    def hover(params: types.HoverParams) -> types.Hover | None:
        path, subject = server.subject_of(params.text_document.uri)
        if subject is None:
            return None
        offset, review = server.offset(path, params.position), server.desk.review
        if subject.rules:
            found = rulefiles.known_at(subject.source, offset, review.vocabulary, review.rulebook)
        elif subject.plan is not None:
            found = knowing.known_at(
                subject.plan, lambda: subject.scene, path, offset, review.plan_grammar, review.rulebook
            )
        else:
            return None
        if found is None:
            return None
        text = server.client_capabilities.text_document
        formats = text.hover.content_format if text and text.hover else None
        return types.Hover(_marked(found.text, formats or (types.MarkupKind.PlainText,)), server.range(found.span))

    @server.feature(types.TEXT_DOCUMENT_COMPLETION, types.CompletionOptions(trigger_characters=[" ", ".", '"']))
    def completion(params: types.CompletionParams) -> types.CompletionList | None:
        path, subject = server.subject_of(params.text_document.uri)
        if subject is None:
            return None
        source, review = server.desk.open[path], server.desk.review
        offset = server.offset(path, params.position)
        if subject.rules:
            grammars = (server.desk.rule_grammar(), review.plan_grammar)
            found = rulefiles.rule_offers(source, offset, review.vocabulary, grammars, review.rulebook)
        elif subject.plan is not None:
            found = completing.offers(
                subject.plan, path, source.text, offset, review.plan_grammar, review.rulebook,
                lambda: server.desk.packs_near(path),
            )  # fmt: skip
        else:
            return None
        start = offset
        while start and not source.text[start - 1].isspace() and source.text[start - 1] not in '(),"':
            start -= 1
        written = server.range(Span(source, start, offset))
        text = server.client_capabilities.text_document
        item = text.completion.completion_item if text and text.completion else None
        formats = item.documentation_format if item else None
        return types.CompletionList(
            is_incomplete=False,
            items=[
                types.CompletionItem(
                    label=one.text, kind=KINDS[one.kind], detail=one.says.partition("\n")[0] or None,
                    documentation=_marked(one.says, formats) if one.says else None,
                    sort_text=f"{one.rank}{number:04}", text_edit=types.TextEdit(written, one.text),
                )
                for number, one in enumerate(found)
            ],
        )  # fmt: skip

    @server.feature(types.TEXT_DOCUMENT_DEFINITION)
    def definition(params: types.DefinitionParams) -> types.Location | None:
        path, subject = server.subject_of(params.text_document.uri)
        if subject is None or subject.plan is None:
            return None
        offset = server.offset(path, params.position)
        use = names.use_at(subject.plan, path, offset)
        if use is not None and use.name in subject.plan.names:
            return _location(server, subject.plan.names[use.name].name_span)
        for link in outline.links(subject.plan, path):
            if link.span.start <= offset <= link.span.end and os.path.isfile(link.path):
                return types.Location(server.uri(link.path), types.Range(types.Position(0, 0), types.Position(0, 0)))
        return _rule_at(server, subject, path, offset)

    @server.feature(types.TEXT_DOCUMENT_REFERENCES)
    def references(params: types.ReferenceParams) -> list[types.Location] | None:
        path, subject = server.subject_of(params.text_document.uri)
        if subject is None or subject.plan is None:
            return None
        use = names.use_at(subject.plan, path, server.offset(path, params.position))
        if use is None:
            return None
        found = names.all_uses(subject.plan, use.name)
        return [_location(server, one.span) for one in found if params.context.include_declaration or not one.defines]

    @server.feature(types.TEXT_DOCUMENT_DOCUMENT_HIGHLIGHT)
    def highlight(params: types.DocumentHighlightParams) -> list[types.DocumentHighlight] | None:
        path, subject = server.subject_of(params.text_document.uri)
        if subject is None or subject.plan is None:
            return None
        use = names.use_at(subject.plan, path, server.offset(path, params.position))
        found = names.all_uses(subject.plan, use.name) if use is not None else []
        kinds = {True: types.DocumentHighlightKind.Write, False: types.DocumentHighlightKind.Read}
        return [
            types.DocumentHighlight(server.range(one.span), kinds[one.defines])
            for one in found
            if one.span.source.name == path
        ]

    @server.feature(types.TEXT_DOCUMENT_PREPARE_RENAME)
    def prepare_rename(params: types.PrepareRenameParams) -> types.PrepareRenamePlaceholder | None:
        path, subject = server.subject_of(params.text_document.uri)
        if subject is None or subject.plan is None:
            return None
        use = names.use_at(subject.plan, path, server.offset(path, params.position))
        if use is None or use.name not in subject.plan.names:
            return None
        return types.PrepareRenamePlaceholder(server.range(use.span), use.name)

    @server.feature(types.TEXT_DOCUMENT_RENAME, types.RenameOptions(prepare_provider=True))
    def rename(params: types.RenameParams) -> types.WorkspaceEdit | None:
        path, subject = server.subject_of(params.text_document.uri)
        if subject is None or subject.plan is None:
            return None
        use = names.use_at(subject.plan, path, server.offset(path, params.position))
        if use is None:
            return None
        spans: dict[tuple[str, int], Span] = {}
        try:
            for one in server.subjects_of(path):  # a file may be part of several plans
                if one.plan is not None and use.name in one.plan.names:
                    for span in names.renamed(one.plan, use.name, params.new_name):
                        spans[span.source.name, span.start] = span
        except names.Unnamed as error:
            raise JsonRpcInvalidParams(str(error)) from None
        return server.edit(Edit(span, params.new_name) for span in spans.values())


def _marked(text: str, formats: Sequence[types.MarkupKind] | None) -> types.MarkupContent | str:
    """Words in Markdown, or plain for an editor that does not take it; bare for one that names no formats."""
    if types.MarkupKind.Markdown in (formats or ()):
        return types.MarkupContent(types.MarkupKind.Markdown, text)
    plain = re.sub(r"\*\*|^```.*\n?", "", text, flags=re.MULTILINE)
    return types.MarkupContent(types.MarkupKind.PlainText, plain) if formats else plain


def _location(server: Server, span: Span) -> types.Location:
    return types.Location(server.uri(os.path.normpath(span.source.name)), server.range(span))


def _rule_at(server: Server, subject: Subject, path: str, offset: int) -> types.Location | None:
    """Where the rule that a line at the margin names is written, among those that ship or are taken in."""
    assert subject.plan is not None
    block = names.block_at(subject.plan, path, offset)
    if not isinstance(block, SetLimit | SetLevel | Waive) or not block.head:
        return None
    rule = knowing.rule_named(block.head[0], server.desk.review.rulebook)
    if rule is None:
        return None
    span = rule.span()
    file = server.desk.shipped(span.source.name)
    return types.Location(server.uri(file), server.range(span)) if file else None


def _asked_of_a_text(server: Server) -> None:
    @server.feature(types.TEXT_DOCUMENT_DOCUMENT_SYMBOL)
    def symbols(
        params: types.DocumentSymbolParams,
    ) -> list[types.DocumentSymbol] | list[types.SymbolInformation] | None:
        path, subject = server.subject_of(params.text_document.uri)
        entries: list[outline.Entry] = []
        if subject is not None and subject.pack is not None:
            entries = rulefiles.entries(subject.source, subject.pack)
        elif subject is not None and subject.plan is not None:
            entries = outline.entries(subject.plan, path)
        text = server.client_capabilities.text_document
        nested = text and text.document_symbol and text.document_symbol.hierarchical_document_symbol_support
        if nested:
            return [_symbol(server, entry) for entry in entries]
        return [
            types.SymbolInformation(
                location=types.Location(params.text_document.uri, server.range(one.whole)),
                name=one.label,
                kind=_kind(one),
            )
            for entry in entries
            for one in (entry, *entry.below)
        ]

    @server.feature(types.TEXT_DOCUMENT_FOLDING_RANGE)
    def folding(params: types.FoldingRangeParams) -> list[types.FoldingRange] | None:
        path, subject = server.subject_of(params.text_document.uri)
        if subject is None or not (subject.rules or subject.plan):
            return None
        source = server.desk.open[path]
        lines = rulefiles.block_lines(source) if subject.plan is None else outline.block_lines(subject.plan, path)
        return [
            types.FoldingRange(one.first, one.last, kind=types.FoldingRangeKind.Comment if one.comment else None)
            for one in outline.folds(source, lines)
        ]

    @server.feature(types.TEXT_DOCUMENT_DOCUMENT_LINK)
    def links(params: types.DocumentLinkParams) -> list[types.DocumentLink] | None:
        path, subject = server.subject_of(params.text_document.uri)
        if subject is None or subject.plan is None or not os.path.isabs(path):
            return None
        return [
            types.DocumentLink(server.range(link.span), server.uri(link.path))
            for link in outline.links(subject.plan, path)
            if os.path.exists(link.path)
        ]

    @server.feature(types.TEXT_DOCUMENT_INLAY_HINT)
    def hints(params: types.InlayHintParams) -> list[types.InlayHint] | None:
        path, subject = server.subject_of(params.text_document.uri)
        if subject is None or subject.plan is None:
            return None
        start, end = server.offset(path, params.range.start), server.offset(path, params.range.end)
        source = server.desk.open[path]
        return [
            types.InlayHint(server.range(Span(source, one.offset, one.offset)).start, one.text, padding_left=True)
            for one in outline.sizes(subject.plan, subject.scene, path, start, end)
        ]

    legend = types.SemanticTokensLegend(list(LEGEND), ["declaration"])

    @server.feature(types.TEXT_DOCUMENT_SEMANTIC_TOKENS_FULL, legend)
    def colours(params: types.SemanticTokensParams) -> types.SemanticTokens | None:
        path, subject = server.subject_of(params.text_document.uri)
        if subject is None or too_long(server.desk.open[path]):
            return None
        return types.SemanticTokens(list(coloured(server.places(server.desk.open[path]), server.texts[path].rules)))

    @server.feature(types.TEXT_DOCUMENT_SEMANTIC_TOKENS_RANGE, legend)
    def colours_of_lines(params: types.SemanticTokensRangeParams) -> types.SemanticTokens | None:
        path = server.path(params.text_document.uri)
        if path not in server.texts:
            return None
        places = server.places(server.desk.open[path])
        first, last = params.range.start.line, params.range.end.line
        return types.SemanticTokens(list(coloured(places, server.texts[path].rules, first, last)))

    @server.feature(types.TEXT_DOCUMENT_FORMATTING)
    def formatting(params: types.DocumentFormattingParams) -> list[types.TextEdit] | None:
        path = server.path(params.text_document.uri)
        return _laid_out(server, path, None) if path in server.texts else None

    @server.feature(types.TEXT_DOCUMENT_RANGE_FORMATTING)
    def range_formatting(params: types.DocumentRangeFormattingParams) -> list[types.TextEdit] | None:
        path = server.path(params.text_document.uri)
        return _laid_out(server, path, params.range) if path in server.texts else None


def _laid_out(server: Server, path: str, within: types.Range | None) -> list[types.TextEdit] | None:
    """The edits that lay a plan out in the standard form, all or those of some lines; rule files have none."""
    source: Source = server.desk.open[path]
    if server.texts[path].rules or too_long(source):
        return None
    edits = layout.edits(source, server.desk.review.plan_grammar)
    if within is not None:
        start, end = server.offset(path, within.start), server.offset(path, within.end)
        edits = [edit for edit in edits if edit.span.start <= end and start <= edit.span.end]
    return [types.TextEdit(server.range(edit.span), edit.text) for edit in edits]


def _symbol(server: Server, entry: outline.Entry) -> types.DocumentSymbol:
    return types.DocumentSymbol(
        name=entry.label, kind=_kind(entry), range=server.range(entry.whole), selection_range=server.range(entry.head),
        detail=entry.detail or None, children=[_symbol(server, one) for one in entry.below] or None,
    )  # fmt: skip


def _kind(entry: outline.Entry) -> types.SymbolKind:
    return SYMBOLS.get(entry.noun, types.SymbolKind.Object)


def _asked_of_findings(server: Server) -> None:
    options = types.CodeActionOptions([types.CodeActionKind.QuickFix])

    @server.feature(types.TEXT_DOCUMENT_CODE_ACTION, options)
    async def mends(params: types.CodeActionParams) -> list[types.CodeAction] | None:
        path = server.path(params.text_document.uri)
        wanted = params.context.only
        quick = wanted is None or any(str(getattr(kind, "value", kind)) in ("", "quickfix") for kind in wanted)
        if path not in server.texts or not quick:
            return None
        start, end = server.offset(path, params.range.start), server.offset(path, params.range.end)
        actions: list[types.CodeAction] = []
        for one, say, edits in await server.mends(path, start, end):
            told = [
                other for other in params.context.diagnostics if other.code == one.rule and other.message == one.words
            ]
            first = not any(action.diagnostics == told for action in actions)
            actions.append(
                types.CodeAction(
                    title=say, kind=types.CodeActionKind.QuickFix, diagnostics=told or None,
                    is_preferred=first or None, edit=server.edit(edits),
                )
            )  # fmt: skip
        return actions
