"""How do a brewery's people ask their questions: by page and by command line."""
