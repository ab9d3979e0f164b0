// Every report of the demo clinic: what it shows is what the API has, in every form, rounded as ICS asks.
import assert from 'node:assert/strict';
import {readFile, writeFile} from 'node:fs/promises';
import path from 'node:path';
import {before, describe, it} from 'node:test';
import {demo} from '../api/lib/environment.mjs';
import {expectedRows, remarks, rounded, voidLines} from './expected.mjs';
import {htmlRows, lines, marksOf, pdfCheck, pdfFonts, pdfLines, pdfText} from './forms.mjs';

const {url, tokens} = demo();
const FOLDER = process.env.PENSTOCK_TEST_REPORTS;
const FORMS = {json: 'application/json', html: 'text/html', txt: 'text/plain', pdf: 'application/pdf'};

async function get(target, accept = 'application/json') {
  const answer = await fetch(url + target, {headers: {authorization: `Bearer ${tokens.physician}`, accept}});
  assert.equal(answer.status, 200, `${target} as ${accept}`);
  assert.equal(answer.headers.get('content-type').split(';')[0], accept);
  return Buffer.from(await answer.arrayBuffer());
}

const read = async (target) => JSON.parse(await get(target));

async function listStudies() {
  const items = [];
  for (let cursor = ''; cursor !== null; ) {
    const page = await read(`/v1/studies?limit=200${cursor && `&cursor=${encodeURIComponent(cursor)}`}`);
    items.push(...page.items);
    cursor = page.next_cursor;
  }
  return items;
}

const lineHolds = (found, wanted) => wanted.every((word, i) => found[i] === word);

/** A row whose label is broken has its values on its first line: the label's beginning is enough there. */
function beginnings([label, ...values]) {
  const words = label.split(' ');
  const rest = values.filter((value) => value !== '').flatMap((value) => value.split(' '));
  return words.map((_, i) => [...words.slice(0, words.length - i), ...rest]);
}

/** Takes the line that shows a row away, so that the same row of another recording needs its own. */
function takeLine(all, cells) {
  for (const wanted of beginnings(cells)) {
    const index = all.findIndex((found) => lineHolds(found, wanted));
    if (index >= 0) {
      all.splice(index, 1);
      return true;
    }
  }
  return false;
}

/** The same of a row that has too many columns for a line, and so a line for each of them. */
function takeRecord(all, cells) {
  const ends = (line = [], cell) => cell.split(' ').every((word, i, {length}) => line[line.length - length + i] === word);
  const index = all.findIndex((_, first) => cells.every((cell, i) => ends(all[first + i], cell)));
  if (index >= 0) all.splice(index, cells.length);
  return index >= 0;
}

function takeRow(all, cells) {
  const index = all.findIndex((found) => cells.every((cell, i) => found[i] === cell));
  if (index >= 0) all.splice(index, 1);
  return index >= 0;
}

describe('rounding', () => {
  it('is to the nearest step, ties away from zero', () => {
    for (const [value, step, shown] of [
      [18.4, 1, '18'],
      [18.5, 1, '19'],
      [-18.5, 1, '-19'],
      [-0.4, 1, '0'],
      [345, 10, '350'],
      [344.999, 10, '340'],
      [0.945, 0.01, '0.95'],
      [13.033, 0.1, '13.0'],
      [4.25, 0.5, '4.5'],
    ]) {
      assert.equal(rounded(value, step), shown, `${value} to ${step}`);
    }
  });
});

describe('the reports of the demo clinic', () => {
  let parameters;
  const reports = [];

  before(async () => {
    parameters = await read('/v1/parameters');
    for (const study of await listStudies()) {
      const report = {study};
      for (const [ending, accept] of Object.entries(FORMS)) {
        const bytes = await get(`/v1/studies/${study.id}/summary`, accept);
        report[ending] = path.join(FOLDER, `${study.id}.${ending}`);
        await writeFile(report[ending], bytes);
        if (ending !== 'pdf') report[`${ending}Text`] = bytes.toString();
      }
      report.document = JSON.parse(report.jsonText);
      report.rows = expectedRows(parameters, report.document.recordings);
      reports.push(report);
    }
  });

  const ofEach = async (check) => {
    for (const report of reports) await check(report, `study ${report.study.id}`);
  };

  it('are many, of every type, with many numbers', () => {
    const types = new Set(reports.flatMap(({document}) => document.recordings.map(({type}) => type)));
    assert.equal(types.size, 6);
    assert.ok(reports.length >= 50);
    const count = reports.reduce((sum, {rows}) => sum + rows.length, 0);
    assert.ok(count > 1500, `${count} rows are compared`);
  });

  it('show every number in HTML', () =>
    ofEach(({htmlText, rows}, what) => {
      const found = htmlRows(htmlText);
      for (const {code, cells} of rows) assert.ok(takeRow(found, cells), `${what}, ${code}: ${cells.join(' | ')}`);
    }));

  it('show every number as plain text', () =>
    ofEach(({txtText, rows}, what) => {
      const found = lines(txtText);
      for (const {code, cells} of rows) assert.ok(takeLine(found, cells) || takeRecord(found, cells), `${what}, ${code}: ${cells.join(' | ')}`);
    }));

  it('show every number as PDF', () =>
    ofEach(async ({pdf, rows}, what) => {
      const found = await pdfLines(pdf);
      for (const {code, cells} of rows) assert.ok(takeLine(found, cells), `${what}, ${code}: ${cells.join(' | ')}`);
    }));

  it('tell beside each number when it was read, and what classes and warnings rest on', () =>
    ofEach(async ({htmlText, pdf, rows, document}, what) => {
      const wanted = [...rows.flatMap(({beside = []}) => beside), ...remarks(parameters, document.recordings)];
      const shown = [htmlText, await pdfText(pdf)];
      for (const words of wanted) for (const text of shown) assert.ok(text.includes(words), `${what}: ${words}`);
    }));

  it('give the reporting line of every free flow in every form', () =>
    ofEach(async ({htmlText, txtText, pdf, document}, what) => {
      const wanted = voidLines(parameters, document.recordings);
      const shown = [htmlText, txtText.replaceAll(/\s+/g, ' '), await pdfText(pdf)];
      for (const line of wanted) for (const text of shown) assert.ok(text.includes(line), `${what}: ${line}`);
    }));

  it('say who, when and where in every form', () =>
    ofEach(async ({htmlText, txtText, pdf, document}, what) => {
      const {patient, study} = document;
      const words = [patient.family_name, patient.given_name, patient.mrn, patient.birth_date, study.operator];
      words.push(`${study.started_at.slice(0, 10)} ${study.started_at.slice(11, 16)} UTC`, document.clinic.name);
      const shown = [htmlText, txtText.replaceAll(/\s+/g, ' '), await pdfText(pdf)];
      for (const word of words) for (const text of shown) assert.ok(text.includes(word), `${what}: ${word}`);
    }));

  it('name what nobody stated', () =>
    ofEach(({txtText, document}, what) => {
      const [, missing] = /Not stated: ([^.]*)\./.exec(txtText.replaceAll(/\s+/g, ' ')) ?? ['', ''];
      assert.equal(missing.includes('operator'), document.study.operator === '', what);
      assert.equal(missing.includes('equipment'), document.equipment.length === 0, what);
    }));

  it('are plain text of at most 78 columns', () =>
    ofEach(({txtText}, what) => {
      for (const line of txtText.split('\n')) assert.ok([...line].length <= 78, `${what}: ${line}`);
    }));

  it('are HTML without script or style, figures within', () =>
    ofEach(({htmlText, document}, what) => {
      assert.doesNotMatch(htmlText, /<script|javascript:|\sstyle=|\son\w+=|https?:\/\//i, what);
      const figures = [...htmlText.matchAll(/<img [^>]*alt="[^"]+" src="data:image\/svg\+xml;base64,/g)];
      assert.ok(figures.length >= document.recordings.length, `${what}: ${figures.length} figures`);
      assert.doesNotMatch(/<title>(.*?)<\/title>/s.exec(htmlText)[1], new RegExp(document.patient.family_name));
    }));

  it('are sound PDF with every font within', () =>
    ofEach(async ({pdf}, what) => {
      assert.match(await pdfCheck(pdf), /No syntax or stream encoding errors/, what);
      const fonts = await pdfFonts(pdf);
      assert.ok(fonts.length > 0, what);
      for (const {line, embedded} of fonts) assert.ok(embedded, `${what}: ${line}`);
    }));

  it('bear their mark on every page until they are signed', () =>
    ofEach(async ({pdf, htmlText, txtText, document}, what) => {
      const {status} = document.study;
      const mark = {final: '', amended: '', cancelled: 'Cancelled'}[status] ?? 'Preliminary';
      const marks = await marksOf(pdf);
      assert.ok(marks.length > 0, what);
      marks.forEach((found, i) => assert.equal(found, mark, `${what}, page ${i + 1}`));
      assert.equal(htmlText.includes(`<p class="document-mark">${mark}</p>`), mark !== '', what);
      assert.equal(txtText.startsWith(`*** ${mark} ***`), mark !== '', what);
    }));

  it('are the same bytes when they are asked for again', async () => {
    for (const {study, pdf} of reports.slice(0, 5)) {
      const again = await get(`/v1/studies/${study.id}/summary`, 'application/pdf');
      assert.ok(again.equals(await readFile(pdf)), study.id);
    }
  });
});
