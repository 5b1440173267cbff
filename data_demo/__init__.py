"""What does an invented brewery look like whose truth is known: Marram Lock Brewery?

Nothing in it is real. Six fermenters and two bright tanks turn out about 230 batches from May 2025 to November 2026:

- **P40** pale ale, **L45** lager, **S48** session bitter and **I62** strong pale ale are to be bright and are fined;
  **W51** wheat beer and **N70** hazy pale ale are meant to be hazy, two orders of magnitude above the others.
- Every batch is roused, the hazier recipes for longer. Most move to a bright tank, some on to the other, a few pairs
  are blended there; S48 and W51 are numbered from 101 again each January.
- Line 1 fills cans; line 2 fills cans, bottles and kegs. Four to six packs of a run are opened, two kegs, and a few
  cans weeks later. Two oxygen meters and two haze meters are checked each week or fortnight.
- A panel of eight tastes some runs fresh and again when they are weeks old.

``truth`` states what is true of it and must be found, ``brewery`` simulates it, room by room (``schedule``, ``cellar``,
``packaging``, ``laboratory``, ``tanks``, ``meters``, ``panel``), and ``workbooks`` writes it down as people do.
"""

from data_demo.brewery import Brewery, run_frame, simulate

__all__ = ["Brewery", "run_frame", "simulate"]
