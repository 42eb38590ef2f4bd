# Every tests/unit/test_STEM.c becomes a program of its own, linked against the layer whose header is
# include/LAYER/STEM.h and nothing above it.
pkg_check_modules(CMOCKA REQUIRED IMPORTED_TARGET cmocka)
set(test_environment "LSAN_OPTIONS=suppressions=${CMAKE_SOURCE_DIR}/tests/lsan.supp:print_suppressions=0")

file(GLOB unit_tests CONFIGURE_DEPENDS tests/unit/test_*.c)
foreach(source ${unit_tests})
  get_filename_component(name ${source} NAME_WE)
  string(REGEX REPLACE "^test_" "" stem ${name})
  file(GLOB header CONFIGURE_DEPENDS include/*/${stem}.h)
  list(LENGTH header found)
  if(NOT found EQUAL 1)
    message(FATAL_ERROR "tests/unit/${name}.c: needs exactly one include/LAYER/${stem}.h, found: ${header}")
  endif()
  get_filename_component(layer ${header} DIRECTORY)
  get_filename_component(layer ${layer} NAME)
  add_executable(${name} ${source})
  target_link_libraries(${name} lentic_${layer} PkgConfig::CMOCKA)
  target_compile_definitions(${name} PRIVATE SOURCE_DIR="${CMAKE_SOURCE_DIR}")
  add_test(NAME unit.${stem} COMMAND ${name})
  set_tests_properties(unit.${stem} PROPERTIES TIMEOUT 120 ENVIRONMENT "${test_environment}")
endforeach()

# End to end: one executable script per case; exit 77 means skipped.
file(GLOB e2e_tests CONFIGURE_DEPENDS tests/e2e/*.sh)
foreach(script ${e2e_tests})
  get_filename_component(name ${script} NAME_WE)
  if(NOT name MATCHES "^lib")
    add_test(NAME e2e.${name} COMMAND bash ${script})
    set_tests_properties(e2e.${name} PROPERTIES TIMEOUT 180 SKIP_RETURN_CODE 77
      ENVIRONMENT "LENTIC_BIN=${CMAKE_BINARY_DIR};LENTIC_CASE_S=165;${test_environment}")
  endif()
endforeach()

# Replay goldens: one folder per case.
file(GLOB replay_cases CONFIGURE_DEPENDS tests/replay/[0-9]*)
foreach(case ${replay_cases})
  get_filename_component(name ${case} NAME)
  add_test(NAME replay.${name} COMMAND bash ${CMAKE_SOURCE_DIR}/tests/replay/run.sh $<TARGET_FILE:lentic> ${case})
  set_tests_properties(replay.${name} PROPERTIES TIMEOUT 120 ENVIRONMENT "${test_environment}")
endforeach()

# Gates: what the design promises and a script can prove.
file(GLOB gates CONFIGURE_DEPENDS tests/gates/*.sh)
foreach(gate ${gates})
  get_filename_component(name ${gate} NAME_WE)
  add_test(NAME gate.${name} COMMAND bash ${gate} ${CMAKE_SOURCE_DIR} ${CMAKE_BINARY_DIR})
  set_tests_properties(gate.${name} PROPERTIES TIMEOUT 120 SKIP_RETURN_CODE 77)
endforeach()

include(tests/fuzz/fuzz.cmake)
include(tests/bench/bench.cmake)
include(tests/bench/wear.cmake)
include(tests/bench/thin.cmake)
