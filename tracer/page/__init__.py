"""The page for the phone and the bench: list, panels and diagram that answer a tap. It shows what `plan`, `case` and `trace` give and knows nothing of its own."""
