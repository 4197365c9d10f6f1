"""Tables of judgement."""
