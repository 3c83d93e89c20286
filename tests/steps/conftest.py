"""The bench with ground samples stands ready for the acts and questions that need one."""

from tests.result_files import bench, bench_template

__all__ = ["bench", "bench_template"]
