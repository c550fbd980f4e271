"""The same answer under other choices: how far it moves, and what it would take to move it."""
