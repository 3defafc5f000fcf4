"""A coverage policy: the promise, one published version a document, each value under a clause."""
