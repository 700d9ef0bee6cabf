"""Pure core: standard library and numpy. No clock, files, asyncio or screen; time is an argument."""
