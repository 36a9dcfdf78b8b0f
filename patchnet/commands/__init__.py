"""The command line: only words in and out; the work is done in the other rooms."""
