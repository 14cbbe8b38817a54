"""What a sheet is made of: whether it may be lasered, why not, and what has to be said on every ticket.

The rule is that an unknown material is a no. A written name is taken apart into words. One hazardous word anywhere is a
refusal; otherwise every word must be known to belong to one material that is cut with care. Birch plywood is,
``vinyl-coated plywood`` is refused, and ``marine plywood`` is unknown, for nobody here can vouch for its glue.

Each statement carries where it comes from. ``common practice, no source`` and ``from memory, verify`` mean just that.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from enum import StrEnum

__all__ = ["CAUTIONS", "DO_NOT_RUN", "Caution", "Standing", "Verdict", "cautions_for", "judge"]

PRACTICE = "common practice, no source"
MEMORY = "from memory, verify"

DO_NOT_RUN = "material not stated: do not run"
"""What a drawing and its ticket are marked with when nobody said what the sheet is, or it is not known here."""


class Standing(StrEnum):
    """What may be done with a material."""

    ALLOWED = "allowed with care"
    UNKNOWN = "unknown"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing a maker has to know, and where that comes from."""

    text: str
    source: str = ""

    def __str__(self) -> str:
        return f"{self.text} ({self.source})" if self.source else self.text


CAUTIONS: tuple[Caution, ...] = (
    Caution("Patterns and estimates only: not assessed for food contact, toys, heat or load."),
    Caution(
        "The machine's manual, the material's data sheet, local codes and licensed practice prevail over this sheet."
    ),
    Caution("Set the run order and simulate it in the machine's own program.", PRACTICE),
    Caution("Test on a scrap of the same sheet first; slower or denser burning needs a new test piece.", PRACTICE),
    Caution(
        "Never leave the machine running alone, keep an extinguisher in reach, and follow the site's own rules.",
        "UAL CCI; Iowa State",
    ),
    Caution("Exhaust to the outside through approved duct.", "UW-Madison EHS"),
    Caution("Keep the enclosure shut and disable no interlock: a Class 3B or 4 laser is inside.", "UW-Madison EHS"),
    Caution("An open-frame machine needs eyewear rated for its wavelength.", MEMORY),
    Caution("Keep the bed clean, and stay after the job until smoke and embers are gone.", PRACTICE),
)
"""The short text that every ticket carries, whatever the material."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What is known of a material.

    Parameters
    ----------
    material
        As it was written; empty if it was not.
    standing
        Allowed with care, unknown, or refused.
    reason
        One sentence that ends without a full stop.
    source
        Where the reason comes from; empty where it is this program's own rule.
    cautions
        What this material asks for, besides :data:`CAUTIONS`.
    """

    material: str
    standing: Standing
    reason: str
    source: str = ""
    cautions: tuple[Caution, ...] = ()

    @property
    def may_run(self) -> bool:
        """Whether a drawing for it may be run at all."""
        return self.standing is Standing.ALLOWED

    def __str__(self) -> str:
        source = f" ({self.source})" if self.source else ""
        return f"{self.material or 'no material'}: {self.standing}; {self.reason}{source}"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Hazard:
    """A row of the table of what must not be lasered.

    ``phrases`` are whole words, one or several in a row; ``stems`` are refused inside longer words too, so they are
    kept to letters that stand in no harmless word.
    """

    reason: str
    source: str
    phrases: tuple[str, ...] = ()
    stems: tuple[str, ...] = ()


def _each(text: str) -> tuple[str, ...]:
    return tuple(text.split(", "))


# The order matters only for which reason is given when several apply: the most poisonous first.
_HAZARDS = (
    _Hazard(
        reason="plastics with chlorine or bromine in them give off hydrogen chloride, which poisons and corrodes",
        source="UT Austin list; UW-Madison EHS; ILSC 1990 on Rockwell 1976",
        phrases=_each(
            "pvb, upvc, cpvc, faux leather, fake leather, imitation leather, artificial leather, "
            "synthetic leather, vegan leather, leather cloth, oilcloth, halogen"
        ),
        stems=_each("pvc, vinyl, leatherette, pleather, chlor, bromin, halogenat, neoprene"),
    ),
    _Hazard(
        reason="fluoropolymers give off carbonyl fluoride and hydrogen fluoride",
        source="UT Austin list",
        phrases=_each("pfa, fep, pvf, fkm, non stick, nonstick"),
        stems=_each("ptfe, etfe, pvdf, fluor"),
    ),
    _Hazard(
        reason="ABS, polyurethane, nylon and other plastics with nitrogen give off hydrogen cyanide, melt and burn",
        source="UT Austin list",
        phrases=_each("abs, san, asa, pu, pur, pu leather, pa, pa6, pa12, tpu, spandex, elastane"),
        stems=_each("urethan, nylon, polyamid, aramid, nitril, polyimid, melamin, isocyan"),
    ),
    _Hazard(
        reason="pressure-treated wood holds arsenic and chromium, and nobody knows what salvaged wood was treated with",
        source=f"{MEMORY} with EPA or HSE",
        phrases=_each(
            "treated, cca, acq, pallet, driftwood, barn wood, railway sleeper, railroad tie, second hand, "
            "scrap wood, old wood"
        ),
        stems=_each("pretreat, salvage, reclaim, creosot, tanalis, tanaliz, arsenic, preservativ"),
    ),
    _Hazard(
        reason="leather tanned with chromium gives off chromium VI",
        source=f"{MEMORY} with EPA or HSE",
        phrases=_each("chrome tanned, chrome leather, chrome tan, chromium tanned, wet blue"),
    ),
    _Hazard(
        reason="resin composites give off toxic resin fume",
        source="UT Austin list; x-p.nu",
        phrases=_each(
            "fibre glass, fiber glass, glass fibre, glass fiber, carbon fibre, carbon fiber, "
            "carbon composite, carbon, grp, gfrp, cfrp, frp, fr4, g10"
        ),
        stems=_each("epoxy, fibreglass, fiberglass, carbonfibre, carbonfiber"),
    ),
    _Hazard(
        reason="polycarbonate absorbs the beam poorly, discolours and burns",
        source="makerspace lists; UT Austin list",
        phrases=_each("pc"),
        stems=_each("carbonat"),
    ),
    _Hazard(
        reason="polystyrene and polypropylene foam and HDPE melt, burn and drip",
        source="makerspace lists",
        phrases=_each(
            "eps, xps, hips, ps, pp, epp, hd pe, high density polyethylene, high density polythene, "
            "foam board, foam core, foam card"
        ),
        stems=_each("styren, propylen, hdpe, foamboard, foamcore"),
    ),
    _Hazard(
        reason="nobody knows what an adhesive backing gives off",
        source="UT Austin list",
        phrases=_each("tape, sticker, sticky, peel and stick, backed"),
        stems=_each("adhesiv, stickyback"),
    ),
    _Hazard(
        reason="nobody knows what a coating, a paint or a laminate gives off",
        source=PRACTICE,
        phrases=_each("coated, painted, primed, lacquered, varnished, stained, faced, glazed, glossy"),
        stems=_each("precoat, prefinish, prepaint, powdercoat, laminat, enamel"),
    ),
    _Hazard(
        reason="galvanised and mirror surfaces throw the beam back, and zinc gives off fume",
        source=PRACTICE,
        phrases=_each("mirror, mirrors, mirrored, chrome, chromed, polished metal"),
        stems=_each("galvani, zinc"),
    ),
)

_RESIN = (
    Caution(
        "Its resin gives off formaldehyde when heated: ask for low-emission board (TSCA Title VI, CARB or E1).", MEMORY
    ),
    Caution("Measure the thickness in four places or more: a nominal size is not a real one.", PRACTICE),
)
_WOOD_SOURCE = "beech: Gurau et al. 2017; spruce: Kubovsky et al. 2020; other species: common practice, no source"
_UNLISTED = "common practice, no source; not in the published lists used here"

_SPECIES = (
    *("alder", "ash", "aspen", "balsa", "bamboo", "basswood", "beech", "birch", "cherry", "chestnut", "elm", "fir"),
    *("hazel", "hornbeam", "larch", "lime", "limewood", "linden", "maple", "oak", "okoume", "paulownia", "pear"),
    *("pine", "poplar", "spruce", "sycamore", "walnut", "willow"),
)
# Words that say nothing about what a sheet is made of.
_PLAIN = frozenset(
    {"a", "board", "blank", "blanks", "bare", "clean", "flat", "mm", "cm", "in", "inch", "natural", "new", "of"}
    | {"panel", "piece", "plain", "raw", "sheet", "sheets", "solid", "the", "thick", "thin", "uncoated"}
    | {"unbacked", "unfaced", "unfinished", "unlacquered", "unpainted", "unprimed", "unstained", "untreated"}
    | {"unvarnished"}
)
_BOARD = frozenset(
    {"b", "bb", "carb", "carb2", "certified", "e0", "e1", "emission", "formaldehyde", "grade", "laser", "low", "sanded"}
    | {"tsca"}
)
_WOODEN = frozenset({"american", "baltic", "european", "hardwood", "softwood", "timber", "wood", "wooden"})
_COLOURS = frozenset(
    {"amber", "black", "blue", "brown", "clear", "coloured", "colored", "cream", "frosted", "gray", "green", "grey"}
    | {"ivory", "opal", "orange", "pink", "purple", "red", "tinted", "translucent", "transparent", "violet", "white"}
    | {"yellow", "dark", "light"}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Material:
    """A material that is lasered with care: how it is called, and which words may stand beside that."""

    names: tuple[str, ...]
    beside: frozenset[str]
    reason: str
    source: str
    cautions: tuple[Caution, ...] = ()


_MATERIALS = (
    _Material(
        names=("plywood", "ply wood", "ply"),
        beside=_BOARD | _WOODEN | {"core", "layer", "layers", "ply", "veneer", *_SPECIES},
        reason="plywood is cut with care",
        source=PRACTICE,
        cautions=_RESIN,
    ),
    _Material(
        names=("mdf", "medium density fibreboard", "medium density fiberboard"),
        beside=_BOARD,
        reason="MDF is cut with care",
        source="kerf and cost studied by Eltawahni, Olabi and Benyounis 2011",
        cautions=_RESIN,
    ),
    _Material(
        names=("acrylic", "pmma", "acrylic glass", "polymethyl methacrylate", "poly methyl methacrylate"),
        beside=_COLOURS | {"cast", "extruded", "gs", "xt"},
        reason="acrylic is cut with care",
        source="Munoz et al. 2023, doi 10.1021/acs.chas.3c00013",
        cautions=(
            Caution(
                "Acrylic gives off methyl methacrylate and particles of 15 to 86 nm: keep the lid shut and the exhaust "
                "running for 20 minutes or more after the job.",
                "Munoz et al. 2023, doi 10.1021/acs.chas.3c00013",
            ),
        ),
    ),
    _Material(
        names=("paperboard", "cardboard", "card", "greyboard", "grayboard", "paper", "card stock", "cardstock"),
        beside=_COLOURS | {"corrugated", "kraft", "stock", "fluted", "single", "double", "wall", "heavy", "ply"},
        reason="paper and board are cut with care",
        source="indoor study of a laser cutter",
        cautions=(
            Caution(
                "Paperboard gives off 7 to 19 mg of fine dust a minute; a filter holds back dust, not formaldehyde.",
                "indoor study of a laser cutter",
            ),
            Caution("Paper catches fire easily: watch it all the time.", PRACTICE),
        ),
    ),
    _Material(
        names=_SPECIES,
        beside=_WOODEN | {"black", "dried", "kiln", "planed", "red", "sanded", "white"},
        reason="solid wood of common species is cut with care",
        source=_WOOD_SOURCE,
    ),
    _Material(
        names=("cork",),
        beside=frozenset({"natural", "fine", "coarse", "grain"}),
        reason="cork without backing is cut with care",
        source=_UNLISTED,
        cautions=(Caution("Ask what binds the cork grains.", PRACTICE),),
    ),
    _Material(
        names=("veg tanned leather", "vegetable tanned leather", "veg tan leather", "vegetable tan leather"),
        beside=_COLOURS | {"cowhide", "cow", "full", "grain", "undyed"},
        reason="vegetable-tanned leather is cut with care",
        source=_UNLISTED,
        cautions=(Caution("Have the tanner confirm that no chromium was used.", MEMORY),),
    ),
    _Material(
        names=("wool felt", "woollen felt", "woolen felt", "felt of wool"),
        beside=_COLOURS | {"pure", "100", "percent"},
        reason="felt of pure wool is cut with care",
        source=_UNLISTED,
        cautions=(Caution("Only felt of pure wool: blends hold plastics that must not be lasered.", PRACTICE),),
    ),
)

# Names that say too little, and what is missing.
_TOO_LITTLE = {
    "leather": 'leather may be tanned with chromium; write "vegetable-tanned leather" if it is',
    "felt": 'felt may be plastic; write "wool felt" if it is pure wool',
    "wood": 'wood may be anything; write the species, such as "oak", or "birch plywood"',
    "hardwood": 'write the species, such as "oak"',
    "softwood": 'write the species, such as "spruce"',
    "timber": 'write the species, such as "oak"',
    "plastic": "most plastics must not be lasered; write which one it is",
    "foam": "most foams must not be lasered; write which one it is",
    "fabric": "fabric may be plastic; it is not in the lists used here",
    "metal": "metals are not in the lists used here",
}

_NEGATIONS = frozenset({"un", "non", "not", "never"})


def _words(material: str) -> tuple[str, ...]:
    """Return the words of a name, lower case and without accents; ``un-coated`` and ``not coated`` are ``uncoated``."""
    plain = unicodedata.normalize("NFKD", material.casefold())
    # Dots between single letters are an abbreviation (p.v.c.), all else that is no letter or digit parts words.
    plain = re.sub(r"\b(\w)\.(?=\w\b)", r"\1", plain)
    plain = "".join(mark for mark in plain if not unicodedata.combining(mark))
    words: list[str] = []
    negated = False
    for word in re.findall(r"[^\W_]+", plain):
        if word in _NEGATIONS:
            negated = True
            continue
        words.append("un" + word if negated else word)
        negated = False
    return tuple(words)


def _find(phrase: str, words: tuple[str, ...]) -> tuple[int, int] | None:
    """Return where a phrase stands among the words, as start and end; a plural ending is overlooked."""
    parts = tuple(phrase.split())
    for start in range(len(words) - len(parts) + 1):
        if all(word in (part, part + "s") for word, part in zip(words[start:], parts, strict=False)):
            return start, start + len(parts)
    return None


def _hazard(words: tuple[str, ...]) -> tuple[_Hazard, str] | None:
    """Return the first hazard named and the word or words that name it."""
    for hazard in _HAZARDS:
        for phrase in hazard.phrases:
            if _find(phrase, words) is not None:
                return hazard, phrase
        joined = "".join(words)
        for stem in hazard.stems:
            for word in words:
                if stem in word:
                    return hazard, word
            # "poly carbonate", "poly-vinyl": a stem that a space or hyphen runs through.
            if len(stem) > 5 and stem in joined:
                return hazard, stem
    return None


def _is_plain(word: str) -> bool:
    return word in _PLAIN or re.fullmatch(r"\d+(mm|cm|in|ply)?", word) is not None


def _known(words: tuple[str, ...]) -> tuple[_Material | None, str]:
    """Return the material whose name and attributes these words are; or none, and the word that is not understood."""
    stranger = ""
    for candidate in _MATERIALS:
        for name in sorted(candidate.names, key=len, reverse=True):
            place = _find(name, words)
            if place is None:
                continue
            rest = [*words[: place[0]], *words[place[1] :]]
            strange = [word for word in rest if not _is_plain(word) and word not in candidate.beside]
            if not strange:
                return candidate, ""
            stranger = stranger or strange[0]
            break
    return None, stranger


def judge(material: str | None) -> Verdict:
    """Return what is known of a material.

    Parameters
    ----------
    material
        As a maker writes it, in English; None or blank if it was not stated.

    Examples
    --------
    >>> str(judge("3 mm birch plywood").standing), str(judge("vinyl-coated plywood").standing)
    ('allowed with care', 'refused')
    """
    written = " ".join((material or "").split())
    words = _words(written)
    if not words:
        return Verdict(material=written, standing=Standing.UNKNOWN, reason=DO_NOT_RUN)
    found = _hazard(words)
    if found is not None:
        hazard, word = found
        reason = f'it names "{word}", and {hazard.reason}'
        return Verdict(material=written, standing=Standing.REFUSED, reason=reason, source=hazard.source)
    known, stranger = _known(words)
    if known is not None:
        return Verdict(
            material=written,
            standing=Standing.ALLOWED,
            reason=known.reason,
            source=known.source,
            cautions=known.cautions,
        )
    hint = next((_TOO_LITTLE[word] for word in words if word in _TOO_LITTLE), "")
    if not hint and stranger:
        hint = f'the word "{stranger}" is not known here; leave it out only if it changes nothing about the sheet'
    if not hint:
        hint = 'write a plain name such as "birch plywood", "oak" or "cast acrylic"'
    reason = f"not known here, and an unknown material is a no: do not run; {hint}"
    return Verdict(material=written, standing=Standing.UNKNOWN, reason=reason)


def cautions_for(verdict: Verdict) -> tuple[str, ...]:
    """Return the cautions a ticket carries for a material, in order, each with its source.

    The material's own come first, since they are the ones a maker does not already know by heart.
    """
    first: tuple[Caution, ...] = ()
    if verdict.standing is Standing.REFUSED:
        first = (Caution(f"{verdict.material} must not be lasered: {verdict.reason}.", verdict.source),)
    elif not verdict.may_run:
        said = f"{verdict.material}: {verdict.reason}" if verdict.material else verdict.reason
        first = (Caution(f"{said[:1].upper()}{said[1:]}.", verdict.source),)
    return tuple(str(caution) for caution in (*first, *verdict.cautions, *CAUTIONS))
