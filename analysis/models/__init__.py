"""What does a measure depend on, and how sure is that?

The public names stand in ``__init__.pyi``; each is loaded when it is first asked for, because pandas and formulaic take
more memory than a fit that does without them.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
