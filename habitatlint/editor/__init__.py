"""The language server: a thin coat over review, names and forms; the only door to pygls and lsprotocol."""
