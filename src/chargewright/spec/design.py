"""The whole design file as one frozen record."""

from dataclasses import dataclass

from chargewright.spec.fields import group, quantity, text
from chargewright.spec.pack import ChargeSpec, PackSpec
from chargewright.spec.rules import PartsSpec, RulesSpec, WeightsSpec
from chargewright.spec.source import SourceSpec
from chargewright.spec.system import AmbientSpec, SystemSpec, UsageSpec

SCHEMA_VERSION = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """One product: what feeds it, what stores for it, what it feeds."""

    schema: int = quantity(
        "1", low=1, high=SCHEMA_VERSION, example="1", default=SCHEMA_VERSION, why="version of this file's form"
    )
    name: str = text(why="what the product is called", example="Slate tablet")
    notes: str = text(
        default="",
        why="anything a reader should know",
        example="first sample",
        max_length=4000,
        many_lines=True,
    )
    sources: tuple[SourceSpec, ...] = group(why="everything that may feed the product", max_items=12)
    pack: PackSpec = group(why="the lithium pack")
    system: SystemSpec = group(why="what the product's electronics draw")
    charge: ChargeSpec = group(default=ChargeSpec(), why="the wanted charge")
    usage: tuple[UsageSpec, ...] = group(default=(), why="a day of use; without it: a generic day is assumed and said")
    ambient: AmbientSpec = group(default=AmbientSpec(), why="temperatures and cooling")
    rules: RulesSpec = group(default=RulesSpec(), why="design rules")
    candidates: tuple[str, ...] = group(
        default=(),
        why="power paths to study; without it: all",
        example='["direct", "narrow-buck-boost"]',
        max_items=32,
    )
    weights: WeightsSpec = group(default=WeightsSpec(), why="what matters for the verdict")
    parts: PartsSpec = group(default=PartsSpec(), why="part lists to choose from")
    controller: str = text(
        default="generic",
        why="controller description: a shipped one or a file",
        example="smart-battery-charger",
        names_file=True,
    )
