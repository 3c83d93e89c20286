"""A bench with ground samples, for papers that only a season can make."""

from tests.result_files import bench, bench_template

__all__ = ["bench", "bench_template"]
