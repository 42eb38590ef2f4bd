# cmake --install: programs, the service and its user, manual pages, a configuration to begin with. An existing
# configuration is never touched; the samples of this version always go beside the documentation.
include(GNUInstallDirs)
set(LENTIC_UNITDIR "lib/systemd/system" CACHE STRING "Where units go, below the prefix or absolute")
set(LENTIC_SYSUSERSDIR "lib/sysusers.d" CACHE STRING "Where sysusers entries go")
set(LENTIC_TMPFILESDIR "lib/tmpfiles.d" CACHE STRING "Where tmpfiles entries go")

install(TARGETS lenticd lentic RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR})
# The unit names the program's full path, which --prefix decides only now.
install(CODE "
  get_filename_component(LENTIC_BINDIR \"${CMAKE_INSTALL_BINDIR}\" ABSOLUTE BASE_DIR \"\${CMAKE_INSTALL_PREFIX}\")
  configure_file(\"${CMAKE_SOURCE_DIR}/systemd/lenticd.service\" \"${CMAKE_BINARY_DIR}/lenticd.service\" @ONLY)
")
install(FILES ${CMAKE_BINARY_DIR}/lenticd.service DESTINATION ${LENTIC_UNITDIR})
install(FILES systemd/sysusers.d/lentic.conf DESTINATION ${LENTIC_SYSUSERSDIR})
install(FILES systemd/tmpfiles.d/lentic.conf DESTINATION ${LENTIC_TMPFILESDIR})
install(FILES systemd/man/lentic.1 DESTINATION ${CMAKE_INSTALL_MANDIR}/man1)
install(FILES systemd/man/lenticd.8 DESTINATION ${CMAKE_INSTALL_MANDIR}/man8)
install(DIRECTORY conf/schema DESTINATION ${CMAKE_INSTALL_DATADIR}/lentic FILES_MATCHING PATTERN "*.json")
install(FILES README.md LICENSE DESTINATION ${CMAKE_INSTALL_DOCDIR} OPTIONAL)
install(FILES conf/lentic.conf conf/room.conf conf/stocks.conf conf/announcements.conf conf/mosquitto.acl DESTINATION ${CMAKE_INSTALL_DOCDIR}/samples)

# With the prefix /usr or /usr/local the configuration is in /etc, as the service expects it.
install(CODE "
  set(folder \"\$ENV{DESTDIR}/etc/lentic\")
  file(MAKE_DIRECTORY \"\${folder}\")
  foreach(name lentic.conf stocks.conf)
    if(EXISTS \"\${folder}/\${name}\")
      message(STATUS \"Kept: \${folder}/\${name}\")
    else()
      message(STATUS \"Installing: \${folder}/\${name}\")
      file(COPY \"${CMAKE_SOURCE_DIR}/conf/\${name}\" DESTINATION \"\${folder}\")
    endif()
  endforeach()
")
