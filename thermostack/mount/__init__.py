"""Heights and mount: does the cooler reach, does the lid stand on its rim, how hard does it press on what."""

from thermostack.mount.check import MountCheck, mount_check
from thermostack.stack.package import Mount, Package

__all__ = ["Mount", "MountCheck", "Package", "mount_check"]
