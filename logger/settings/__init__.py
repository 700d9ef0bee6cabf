"""Reads method, rig and bench files (TOML) into the core's plain data, with errors that name the line."""

from logger.settings.bench import Bench, load_bench
from logger.settings.errors import ConfigError
from logger.settings.files import config_dir, find_config, load_method, load_rig

__all__ = ["Bench", "ConfigError", "config_dir", "find_config", "load_bench", "load_method", "load_rig"]
