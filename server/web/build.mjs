// Bundles the pages: node build.mjs <folder of node_modules> <output folder>
//
// Reads the sources where they stand and writes only into the output folder, so that a build never
// touches the source tree. Fails when the scripts outgrow their budget.
import {createRequire} from 'node:module';
import {copyFileSync, mkdirSync, readFileSync, writeFileSync} from 'node:fs';
import {dirname, join} from 'node:path';
import {fileURLToPath} from 'node:url';
import {gzipSync} from 'node:zlib';

const SCRIPT_BUDGET_BYTES = 150 * 1024; // of one page, gzip; a clinic's tablet on a weak network
const PAGES = ['sign-in', 'today', 'study', 'audit', 'account', 'letters'];

const [modules, output] = process.argv.slice(2);
const source = join(dirname(fileURLToPath(import.meta.url)), 'src');
const {build} = createRequire(join(modules, 'x.js'))('esbuild');

mkdirSync(output, {recursive: true});
await build({
  entryPoints: [...PAGES.map((page) => join(source, `${page}.js`)), join(source, 'penstock.css')],
  outdir: output,
  nodePaths: [modules],
  bundle: true,
  minify: true,
  format: 'iife',
  target: 'es2020',
  charset: 'utf8',
  legalComments: 'none',
  logLevel: 'warning',
  logLimit: 10,
});

for (const page of PAGES) {
  copyFileSync(join(source, `${page}.html`), join(output, `${page}.html`));
  const bytes = gzipSync(readFileSync(join(output, `${page}.js`))).length;
  if (bytes > SCRIPT_BUDGET_BYTES) {
    throw new Error(`${page}.js takes ${bytes} bytes compressed, over ${SCRIPT_BUDGET_BYTES}`);
  }
}
copyFileSync(join(source, 'favicon.svg'), join(output, 'favicon.svg'));

const licences = ['mustache', 'uplot', 'uqr'].map((name) => {
  const {version, license} = JSON.parse(readFileSync(join(modules, name, 'package.json'), 'utf8'));
  return `${name} ${version} (${license})\n\n${readFileSync(join(modules, name, 'LICENSE'), 'utf8')}`;
});
writeFileSync(
  join(output, 'licences.txt'),
  `Penstock's pages and letters contain the following software.\n\n${licences.join('\n\n')}`,
);
