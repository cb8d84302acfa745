"""The project root: settings, addresses, and what stands before the apps. Nothing imports it."""

from gear.site import checks  # noqa: F401  (registers the system checks as soon as the settings are named)
