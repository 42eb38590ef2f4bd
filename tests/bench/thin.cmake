# What thinning of old readings would leave, from printed readings.
add_executable(bench_thin tests/bench/thin.c)
target_link_libraries(bench_thin lentic_wire)
