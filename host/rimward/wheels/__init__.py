"""Register of wheels, workshop key, binary profiles, presets and tags.

>>> import tempfile
>>> from pathlib import Path
>>> from rimward.wheels import Asked, Place, Ride, build, new_wheel_id, open_register, profile_to_json
>>> folder = tempfile.TemporaryDirectory()
>>> register = open_register(str(Path(folder.name) / "register.db"), create=True)
>>> wheel = register.add({"label": "Aspen race", "rim": "622x23TSS", "rim_max": "5 bar", "tyre": "28-622", "tyre_range": "3.5-6 bar",
...                       "approved": "yes", "bead": "folding", "air": "tubeless"}, who="Maren Holt")
>>> register.get("aspen").values["tyre"], register.history(wheel.wheel_id)[0].who
('28-622', 'Maren Holt')
>>> profile = build(wheel.values, new_wheel_id(), 1, Asked(390_000, Place.of(18, 200), Ride.of(1200, 40)))
>>> profile_to_json(profile)["ceiling_pa"]
447000
>>> register.close(); folder.cleanup()

`issue` makes the next profile of a wheel of the register, records and tags it; `build` makes one of any values, untagged.
"""

from typing import TYPE_CHECKING

from rimward.base import lazy

if TYPE_CHECKING:
    from rimward.limits.ceiling.model import Instrument, Place, Ride
    from rimward.wheels.keys import Key, Ring
    from rimward.wheels.keys import load as load_keys
    from rimward.wheels.preset import Preset
    from rimward.wheels.profile_files import read as read_profile
    from rimward.wheels.profile_files import to_json as profile_to_json
    from rimward.wheels.profile_files import write as write_profile
    from rimward.wheels.profiles import (
        Asked,
        assess_wheel,
        build,
        issue,
        new_wheel_id,
        origin,
        tagged,
    )
    from rimward.wheels.register import Change, Entry, Register, Wheel, open_register
    from rimward.wheels.tag.design import wheel_tag
    from rimward.wheels.tag.reading import read as read_tag

PLACES = {
    "Asked": "rimward.wheels.profiles",
    "Change": "rimward.wheels.register",
    "Entry": "rimward.wheels.register",
    "Instrument": "rimward.limits.ceiling.model",
    "Key": "rimward.wheels.keys",
    "Place": "rimward.limits.ceiling.model",
    "Preset": "rimward.wheels.preset",
    "Register": "rimward.wheels.register",
    "Ride": "rimward.limits.ceiling.model",
    "Ring": "rimward.wheels.keys",
    "Wheel": "rimward.wheels.register",
    "assess_wheel": "rimward.wheels.profiles",
    "build": "rimward.wheels.profiles",
    "issue": "rimward.wheels.profiles",
    "load_keys": "rimward.wheels.keys:load",
    "new_wheel_id": "rimward.wheels.profiles",
    "open_register": "rimward.wheels.register",
    "origin": "rimward.wheels.profiles",
    "profile_to_json": "rimward.wheels.profile_files:to_json",
    "read_profile": "rimward.wheels.profile_files:read",
    "read_tag": "rimward.wheels.tag.reading:read",
    "tagged": "rimward.wheels.profiles",
    "wheel_tag": "rimward.wheels.tag.design",
    "write_profile": "rimward.wheels.profile_files:write",
}
__getattr__ = lazy.exports(__name__, PLACES)

__all__ = [
    "Asked",
    "Change",
    "Entry",
    "Instrument",
    "Key",
    "Place",
    "Preset",
    "Register",
    "Ride",
    "Ring",
    "Wheel",
    "assess_wheel",
    "build",
    "issue",
    "load_keys",
    "new_wheel_id",
    "open_register",
    "origin",
    "profile_to_json",
    "read_profile",
    "read_tag",
    "tagged",
    "wheel_tag",
    "write_profile",
]
