"""The panel: a page for the screen beside the oven, a phone, a desk. A process of its own that talks to the service's local socket only;
the oven runs on when it dies. Needs the extra `panel`."""
