"""Which dangers must be told where a question touches gas, pressure, acid or an opened tank?

The tool advises. It never clears an entry into a tank or a release of pressure: local codes and licensed practice do.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = [
    "ALWAYS",
    "CARBON_DIOXIDE",
    "CONFINED_SPACE",
    "ISINGLASS",
    "PERACETIC_ACID",
    "PRESSURE",
    "REFERMENTATION",
    "Caution",
    "in_sentences",
]


@dataclass(frozen=True)
class Caution:
    """A danger, what to know of it, and the official source; "" where it is common practice without one."""

    about: str
    says: str
    source: str

    @property
    def sentence(self) -> str:
        """The caution with its source in brackets."""
        return f"{self.about}: {self.says} ({self.source or 'common practice, no source'})."


CARBON_DIOXIDE = Caution(
    "Carbon dioxide",
    "its limits in air are 5,000 ppm over a shift and 30,000 ppm for a short time in the United States, 5,000 and "
    "15,000 ppm in the United Kingdom; an oxygen meter alone does not see it",
    "OSHA 29 CFR 1910.1000 and ACGIH; HSE EH40",
)
CONFINED_SPACE = Caution(
    "Opened tanks",
    "a tank is a confined space; nobody enters, nor leans in, on what a screen says",
    "OSHA 29 CFR 1910.146; United Kingdom Confined Spaces Regulations 1997",
)
PERACETIC_ACID = Caution(
    "Peracetic acid",
    "its short-time limit in air is 0.4 ppm; never let it meet chlorine or caustic",
    "ACGIH",
)
PRESSURE = Caution(
    "Pressure",
    "relief valve and vacuum breaker must be free; draining a tank without venting, or caustic on carbon dioxide, can "
    "collapse it",
    "",
)
REFERMENTATION = Caution(
    "Hops after dry hopping",
    "they can start fermentation again and build up pressure in the pack",
    "",
)
ISINGLASS = Caution("Isinglass", "it is made from fish: labelling differs by country, and the beer is not vegan", "")
ALWAYS = (
    "This advises and clears nothing: local codes and licensed practice decide about entering a tank and about "
    "releasing pressure."
)


def in_sentences(*cautions: Caution) -> tuple[str, ...]:
    """Return the cautions as sentences, with the one that always stands beside them last."""
    return (*(caution.sentence for caution in cautions), ALWAYS) if cautions else ()
