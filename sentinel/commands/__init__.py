"""The commands, one module each: ``register(subcommands)`` declares it, ``run(options)`` does it.

Modules import what only they need inside ``run``, so that ``sentinel --help`` stays quick.
"""
