"""Questions about the model and the search, each answered by a script that anyone can run."""
