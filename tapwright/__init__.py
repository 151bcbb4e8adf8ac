"""Plans the water change of a large hard-water fish tank, and does its chemistry: `import tapwright as tw`.

Values go in as text with a unit ("8 dGH"), as pint quantities, or as numbers in the unit their name ends in. What comes
back is read by its attributes, and by `to_dict()`, `to_json()`, `to_frame()`. Bad input raises `BadInput`, whose `faults`
say where, what was read, what is allowed and what to write. These names stay; the rooms below may move.
"""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

_HERE = Path(__file__).parent
# In a wheel the rooms lie in this folder; in a checkout it holds links to them. Where links are not kept (an unpacked
# source distribution, some systems) they are found beside it.
if not (_HERE / "chemistry").is_dir():
    __path__.append(str(_HERE.parent))

if TYPE_CHECKING:
    from tapwright.chemistry.catalogue import data as data
    from tapwright.chemistry.change.heat.blending import Blend as Blend
    from tapwright.chemistry.errors import BadInput as BadInput
    from tapwright.chemistry.errors import NoAnswer as NoAnswer
    from tapwright.chemistry.errors import NotInTime as NotInTime
    from tapwright.chemistry.errors import OutOfRange as OutOfRange
    from tapwright.chemistry.errors import TapwrightError as TapwrightError
    from tapwright.chemistry.findings import Finding as Finding
    from tapwright.chemistry.plan.household.household import Household as Household
    from tapwright.chemistry.plan.planner import Plan as Plan
    from tapwright.chemistry.units import convert as convert
    from tapwright.chemistry.units import read as read
    from tapwright.chemistry.water.composition import Water as Water
    from tapwright.chemistry.water.equilibrium import Equilibrium as Equilibrium
    from tapwright.chemistry.water.mixing import Mixture as Mixture
    from tapwright.chemistry.water.reconstruction import Description as Description
    from tapwright.chemistry.water.target import Target as Target
    from tapwright.library.dosing import Refill as Refill
    from tapwright.library.dosing import Treatment as Treatment
    from tapwright.library.dosing import blend as blend
    from tapwright.library.dosing import neutralise as neutralise
    from tapwright.library.dosing import recipe as recipe
    from tapwright.library.dosing import target as target
    from tapwright.library.planning import household as household
    from tapwright.library.planning import plan as plan
    from tapwright.library.plots import plot as plot
    from tapwright.library.waters import at_air as at_air
    from tapwright.library.waters import at_carbon as at_carbon
    from tapwright.library.waters import at_ph as at_ph
    from tapwright.library.waters import deionised as deionised
    from tapwright.library.waters import describe as describe
    from tapwright.library.waters import dose as dose
    from tapwright.library.waters import lake as lake
    from tapwright.library.waters import mix as mix

# Where each public name is made; loaded when it is first used, so that the command line starts without them.
_HOME = {
    "tapwright.chemistry.errors": ("TapwrightError", "BadInput", "OutOfRange", "NoAnswer", "NotInTime"),
    "tapwright.chemistry.findings": ("Finding",),
    "tapwright.chemistry.units": ("read", "convert"),
    "tapwright.chemistry.water.composition": ("Water",),
    "tapwright.chemistry.water.equilibrium": ("Equilibrium",),
    "tapwright.chemistry.water.mixing": ("Mixture",),
    "tapwright.chemistry.water.reconstruction": ("Description",),
    "tapwright.chemistry.water.target": ("Target",),
    "tapwright.chemistry.change.heat.blending": ("Blend",),
    "tapwright.chemistry.plan.household.household": ("Household",),
    "tapwright.chemistry.plan.planner": ("Plan",),
    "tapwright.library.waters": ("describe", "lake", "deionised", "at_ph", "at_air", "at_carbon", "mix", "dose"),
    "tapwright.library.dosing": ("neutralise", "target", "recipe", "blend", "Treatment", "Refill"),
    "tapwright.library.planning": ("household", "plan"),
    "tapwright.chemistry.catalogue": ("data",),
    "tapwright.library.plots": ("plot",),
}
_MODULE_OF = {name: module for module, names in _HOME.items() for name in names}
__all__ = ["__version__", *_MODULE_OF]


def __getattr__(name: str) -> Any:
    if name not in _MODULE_OF:
        raise AttributeError(f"module 'tapwright' has no attribute {name!r}")
    value = getattr(import_module(_MODULE_OF[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
