"""Devices through their makers' libraries, and serial instruments; imported only when a rig file asks."""
