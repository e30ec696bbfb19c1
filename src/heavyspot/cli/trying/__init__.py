"""``heavyspot demo``, ``simulate`` and ``examples``: the program without a rig."""
