# Bytes that reach the disk per reading, over simulated time; scripts/bench measures the same on the whole daemon.
add_executable(bench_wear tests/bench/wear.c)
target_link_libraries(bench_wear lentic_adapters)
