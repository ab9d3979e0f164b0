# Builds the pages and sets PENSTOCK_WEB_FILES to the files that the program embeds, and PENSTOCK_MUSTACHE
# to the library that letters' templates are filled in with. npm works on
# copies in the build folder, so the source tree stays clean; both steps run only when an input changed.
find_program(NPM_EXECUTABLE npm REQUIRED)
find_program(NODE_EXECUTABLE NAMES node nodejs REQUIRED)

set(web_source ${CMAKE_CURRENT_LIST_DIR})
set(web_build ${CMAKE_CURRENT_BINARY_DIR}/web)
set(web_packages ${web_build}/packages)
set(web_dist ${web_build}/dist)
set(PENSTOCK_MUSTACHE ${web_packages}/node_modules/mustache/mustache.js)
set(web_manifests ${web_source}/package.json ${web_source}/package-lock.json ${web_source}/.npmrc)
file(GLOB web_sources CONFIGURE_DEPENDS
  ${web_source}/src/*.js ${web_source}/src/*.css ${web_source}/src/*.html ${web_source}/src/*.svg)

set(PENSTOCK_WEB_FILES
  sign-in.html today.html study.html audit.html account.html letters.html sign-in.js today.js study.js
  audit.js account.js letters.js penstock.css favicon.svg licences.txt)
list(TRANSFORM PENSTOCK_WEB_FILES PREPEND ${web_dist}/)

add_custom_command(
  OUTPUT ${web_packages}/installed.stamp ${PENSTOCK_MUSTACHE}
  COMMAND ${CMAKE_COMMAND} -E make_directory ${web_packages}
  COMMAND ${CMAKE_COMMAND} -E copy ${web_manifests} ${web_packages}
  COMMAND ${CMAKE_COMMAND} -E chdir ${web_packages} ${NPM_EXECUTABLE} ci
  COMMAND ${CMAKE_COMMAND} -E touch ${web_packages}/installed.stamp
  DEPENDS ${web_manifests}
  COMMENT "Installing the pages' packages"
  VERBATIM)

add_custom_command(
  OUTPUT ${PENSTOCK_WEB_FILES}
  COMMAND ${NODE_EXECUTABLE} ${web_source}/build.mjs ${web_packages}/node_modules ${web_dist}
  DEPENDS ${web_packages}/installed.stamp ${web_source}/build.mjs ${web_sources}
  COMMENT "Bundling the pages"
  VERBATIM)
