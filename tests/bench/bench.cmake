# Programs for scripts/bench: built with the tests, installed never.
foreach(name counter flood latency)
  add_executable(bench_${name} tests/bench/${name}.c tests/bench/link.c)
  target_link_libraries(bench_${name} ${PAHO_LIBRARY} Threads::Threads)
endforeach()
add_executable(bench_insert tests/bench/insert.c)
target_link_libraries(bench_insert PkgConfig::SQLITE)
