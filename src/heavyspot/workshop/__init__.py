"""The technician's verbs: the only place where reading, advice and ledger meet."""
