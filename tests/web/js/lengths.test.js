// The page reads and writes lengths by the rules of the job file; the cases come from Python, which read them first.

import assert from 'node:assert/strict';
import test from 'node:test';
import { fieldText, fraction, improbable, parseLength, unitShown, within } from '../../../phototemplate/web/static/lengths.js';

const cases = JSON.parse(process.env.LENGTH_CASES || '[]'); // [text, unit, mm or null]

test('every text is read as the job file reads it', () => {
  assert.ok(cases.length > 40);
  for (const [text, unit, mm] of cases) {
    const read = parseLength(text, unit);
    if (mm === null) assert.equal(read, null, `${text} (${unit})`);
    else assert.ok(read && Math.abs(read.mm - mm) < 1e-9, `${text} (${unit}): ${read?.mm}, not ${mm}`);
  }
});

test('a field can be read again, to the 64th of an inch or the thousandth of a mm', () => {
  for (const unit of ['in', 'mm']) {
    for (const mm of [0, 3, 12.7, 603.25, -774.7, 1187.4, 2400, 0.05]) {
      const text = fieldText(mm, unit);
      assert.ok(Math.abs(parseLength(text, unit).mm - mm) < 5e-4, `${mm} as ${text}`);
      assert.ok(unitShown(text), text);
    }
  }
  assert.equal(unitShown(''), null);
});

test('fractions as a tape has them', () => {
  assert.equal(fraction(603.25), '23 3/4 in');
  assert.equal(fraction(-6.35), '−1/4 in');
  assert.equal(fraction(0), '0 in');
});

test('how well something is known is never said smaller than it is', () => {
  for (const mm of [0.01, 0.39, 0.4, 0.794, 1.58, 3.2, 9.9]) {
    assert.ok(parseLength(within(mm, 'in').slice(2), 'in').mm >= mm - 1e-5, `${mm}: ${within(mm, 'in')}`);
    assert.ok(parseLength(within(mm, 'mm').slice(2), 'mm').mm >= mm - 1e-5, `${mm}: ${within(mm, 'mm')}`);
  }
});

test('a number in the wrong unit is asked back with both readings', () => {
  assert.deepEqual(improbable('1187.4', 'in', [150, 9000]), { here: 1187.4 * 25.4, other: 1187.4 });
  assert.deepEqual(improbable('46.75', 'mm', [150, 9000]), { here: 46.75, other: 46.75 * 25.4 });
  assert.equal(improbable('1187.4', 'mm', [150, 9000]), null);
  assert.equal(improbable('1187.4 mm', 'in', [150, 9000]), null);
  // the unit was written: nobody meant the other one
  assert.deepEqual(improbable('1187.4 in', 'in', [150, 9000]), { here: 1187.4 * 25.4, other: null });
});
