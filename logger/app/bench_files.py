"""Everything a service needs from files: bench, methods that fit it, rig, broker settings."""

from __future__ import annotations

from pathlib import Path

from logger.app.instruments import bench_profiles
from logger.core.method import Method
from logger.core.rig import Rig
from logger.publish.errors import SecretError
from logger.publish.settings import BrokerSettings, load_password
from logger.settings import Bench, ConfigError, config_dir, find_config, load_bench, load_method, load_rig


def read_bench(path: Path) -> Bench:
    """The bench file, with its profiles proved readable. Raises ConfigError."""
    bench = load_bench(path)
    bench_profiles(bench)
    return bench


def read_methods(bench: Bench, bench_path: Path) -> dict[str, Method]:
    """The methods offered on this bench by id. Raises ConfigError, also for two of one id."""
    return {method_id: method for method_id, (method, _) in methods_and_files(bench, bench_path).items()}


def methods_and_files(bench: Bench, bench_path: Path) -> dict[str, tuple[Method, Path]]:
    """The methods with the files they were read from. Raises ConfigError as `read_methods`."""
    if bench.methods:
        paths = [_method_path(name, bench_path) for name in bench.methods]
    else:
        paths = sorted((config_dir() / "methods").glob("*.toml"))
    methods: dict[str, tuple[Method, Path]] = {}
    for path in paths:
        method = load_method(path)
        if not bench.methods and (method.weighing.mode == "live") != (bench.arrangement == "under"):
            continue
        if method.method.id in methods:
            raise ConfigError(
                path, f'a second method has the id "{method.method.id}"; ids are unique on a bench'
            )
        methods[method.method.id] = (method, path)
    return methods


def _method_path(name: str, bench_path: Path) -> Path:
    beside = bench_path.parent / name
    return beside if beside.suffix == ".toml" and beside.exists() else find_config("methods", name)


def read_rig(bench: Bench, bench_path: Path) -> Rig | None:
    """The blank run's file, when the bench names one. Raises ConfigError."""
    if bench.rig is None:
        return None
    beside = bench_path.parent / bench.rig.file
    return load_rig(beside if beside.exists() else find_config("rigs", bench.rig.file))


def read_broker(bench: Bench, bench_path: Path, client_id: str) -> BrokerSettings | None:
    """How the plant's broker is reached, with its password from outside. Raises ConfigError."""
    broker = bench.broker
    if broker is None:
        return None
    base = bench_path.parent
    try:
        password = load_password(base / broker.password_file if broker.password_file else None)
        return BrokerSettings(
            host=broker.host,
            port=broker.port,
            client_id=client_id,
            username=broker.username,
            password=password if broker.username else None,
            insecure=broker.insecure,
            ca_file=_beside(base, broker.ca_file),
            cert_file=_beside(base, broker.cert_file),
            key_file=_beside(base, broker.key_file),
        )
    except (SecretError, ValueError) as error:
        raise ConfigError(bench_path, f"broker: {error}") from None


def _beside(base: Path, name: str | None) -> str | None:
    return str(base / name) if name else None
