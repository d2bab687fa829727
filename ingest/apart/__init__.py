"""Work done in a process of its own: a question and its bytes go out, an answer and its bytes come back."""
