# penstock_embed(<target> <symbol> <header> <file>...)
# Adds to <target> a C file that defines `const struct embedded_file <symbol>[]` with the files'
# contents, made again whenever one of them changes.
function(penstock_embed target symbol header)
  set(output ${CMAKE_CURRENT_BINARY_DIR}/embedded_${symbol}.c)
  add_custom_command(
    OUTPUT ${output}
    COMMAND ${CMAKE_COMMAND} -DOUTPUT=${output} -DSYMBOL=${symbol} -DHEADER=${header}
            "-DFILES=${ARGN}" -P ${PROJECT_SOURCE_DIR}/server/embed_files.cmake
    DEPENDS ${ARGN} ${PROJECT_SOURCE_DIR}/server/embed_files.cmake
    COMMENT "Embedding ${symbol}"
    VERBATIM)
  target_sources(${target} PRIVATE ${output})
endfunction()
