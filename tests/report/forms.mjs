// A report's forms as readers see them: tables of HTML as cells, plain text and PDF as lines, a PDF by way of
// poppler and qpdf.
import {execFile} from 'node:child_process';
import {promisify} from 'node:util';

const run = promisify(execFile);
const BUFFER = {maxBuffer: 64 * 1024 * 1024};

const plain = (html) =>
  html
    .replaceAll(/<[^>]*>/g, '')
    .replaceAll('&lt;', '<')
    .replaceAll('&gt;', '>')
    .replaceAll('&quot;', '"')
    .replaceAll('&#39;', "'")
    .replaceAll('&amp;', '&');

/** Rows of all tables: [[cell, …], …]. */
export const htmlRows = (html) =>
  [...html.matchAll(/<tr>(.*?)<\/tr>/gs)].map(([, row]) =>
    [...row.matchAll(/<t[hd][^>]*>(.*?)<\/t[hd]>/gs)].map(([, cell]) => plain(cell)),
  );

/** Words of each line. */
export const lines = (text) =>
  text
    .split(/[\n\f]/)
    .map((line) => line.trim().split(/\s+/))
    .filter((words) => words[0] !== '');

/** Words of each page with the boxes around them: [[{left, top, right, bottom, word}, …], …]. */
async function pdfWords(file) {
  const {stdout} = await run('pdftotext', ['-bbox', file, '-'], BUFFER);
  const word = /xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">(.*?)<\/word>/g;
  return stdout
    .split('<page ')
    .slice(1)
    .map((page) =>
      [...page.matchAll(word)].map(([, left, top, right, bottom, text]) => ({
        left: Number(left),
        top: Number(top),
        right: Number(right),
        bottom: Number(bottom),
        word: plain(text),
      })),
    );
}

const MARK_LEAST = 30; // both ways, of a fragment of the slanted mark, in points
const isOfMark = ({left, top, right, bottom}) => bottom - top > MARK_LEAST && right - left > MARK_LEAST;

const SAME_LINE = 2; // points between the middles of words

const PAGE_MIDDLE = 297; // of A4, in points

/** Words of each line from left to right, as they stand on paper; those of its right half once more by
 * themselves, since a table may run down two columns. */
export async function pdfLines(file) {
  const middle = ({top, bottom}) => (top + bottom) / 2;
  const found = [];
  for (const page of await pdfWords(file)) {
    let line = [];
    const words = page.filter((one) => !isOfMark(one)).sort((one, other) => middle(one) - middle(other));
    for (const one of words) {
      if (line.length > 0 && middle(one) - middle(line[0]) > SAME_LINE) {
        found.push(line);
        line = [];
      }
      line.push(one);
    }
    found.push(line);
  }
  return found
    .map((line) => line.sort((one, other) => one.left - other.left))
    .flatMap((line) => [line, line.filter(({left}) => left > PAGE_MIDDLE)])
    .map((line) => line.map(({word}) => word));
}

/** Words of the file in reading order, broken lines joined. */
export async function pdfText(file) {
  return (await run('pdftotext', [file, '-'], BUFFER)).stdout.replaceAll(/\s+/g, ' ');
}

export async function pdfFonts(file) {
  const {stdout} = await run('pdffonts', [file]);
  return stdout
    .trim()
    .split('\n')
    .slice(2)
    .map((line) => {
      const [, embedded] = /(\S+)\s+\S+\s+\S+\s+\d+\s+\d+$/.exec(line);
      return {line, embedded: embedded === 'yes'};
    });
}

/** What qpdf says of the file; it fails when there is anything wrong with it. */
export const pdfCheck = async (file) => (await run('qpdf', ['--check', file])).stdout;

/** Large words that stand slanted across each page, from the bottom to the top as one. */
export async function marksOf(file) {
  return (await pdfWords(file)).map((page) =>
    page
      .filter(isOfMark)
      .sort((one, other) => other.bottom - one.bottom)
      .map(({word}) => word)
      .join(''),
  );
}
