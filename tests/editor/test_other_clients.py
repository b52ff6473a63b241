"""Editors by what they say they can do, as pytest-lsp recorded it: each is told of findings in the way it takes, and
its library holds every answer to what the editor can take."""

from __future__ import annotations

import asyncio
import sys
import warnings

import pytest
from editor.test_protocol import LANE, NEAR, URI
from lsprotocol import types
from pytest_lsp import LspSpecificationWarning, client_capabilities, make_test_lsp_client

CLIENTS = ("visual_studio_code", "neovim@0.11", "neovim@0.6", "emacs")


@pytest.mark.parametrize("name", CLIENTS)
def test_an_editor_gets_what_it_can_take(name: str) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error", LspSpecificationWarning)
        asyncio.run(_session(client_capabilities(name)))


async def _session(capabilities: types.ClientCapabilities) -> None:
    client = make_test_lsp_client()
    await client.start_io(sys.executable, "-m", "habitatlint", "language-server")
    text = capabilities.text_document
    params = types.InitializeParams(capabilities=capabilities, initialization_options={"settle": 10})
    said = (await client.initialize_session(params)).capabilities
    pulls = bool(text and text.diagnostic)
    assert bool(said.diagnostic_provider) == pulls
    client.text_document_did_open(types.DidOpenTextDocumentParams(types.TextDocumentItem(URI, "habitat", 1, LANE)))
    document = types.TextDocumentIdentifier(URI)
    for _ in range(400):
        if pulls:
            answer = await client.text_document_diagnostic_async(types.DocumentDiagnosticParams(document))
            assert isinstance(answer, types.RelatedFullDocumentDiagnosticReport)
            found = list(answer.items)
        else:
            found = list(client.diagnostics.get(URI, ()))
        if any(one.code == NEAR for one in found):
            break
        await asyncio.sleep(0.05)
    assert any(one.code == NEAR for one in found)
    assert not (pulls and client.diagnostics)
    place = types.Position(5, 4)
    await client.text_document_completion_async(types.CompletionParams(document, place))
    await client.text_document_hover_async(types.HoverParams(document, place))
    await client.text_document_document_symbol_async(types.DocumentSymbolParams(document))
    actions = await client.text_document_code_action_async(
        types.CodeActionParams(document, types.Range(place, place), types.CodeActionContext(found))
    )
    assert actions and isinstance(actions[0], types.CodeAction) and actions[0].edit
    await client.shutdown_session()
    await client.stop()
