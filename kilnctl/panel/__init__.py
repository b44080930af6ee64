"""The panel: a page for the screen at the oven, a phone, a desk. A process of its own that talks only to the service's
local socket; the oven runs on when it dies. Needs the extra `panel`."""
