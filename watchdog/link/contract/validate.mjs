// Validates asyncapi.yaml, with the schemas it points to, by the AsyncAPI
// initiative's own parser:
//
//   npm install --no-save @asyncapi/parser@3.6.6 && node validate.mjs
//
// Exit status 0: valid; 1: not, with what is wrong and where.
import { createRequire } from 'node:module';
import { pathToFileURL } from 'node:url';
import process from 'node:process';

// The parser is looked for where the command runs, so that it need not be
// installed beside this file.
const require = createRequire(pathToFileURL(process.cwd() + '/'));
const { Parser, fromFile } = require('@asyncapi/parser');

const file = process.argv[2] ?? new URL('asyncapi.yaml', import.meta.url).pathname;
const { document, diagnostics } = await fromFile(new Parser(), file).parse();
const wrong = diagnostics.filter((d) => d.severity === 0); // 0 is an error, 1 and above advice
for (const d of wrong) {
  console.error(`${file}: ${d.path.join('/')}: ${d.message}`);
}
if (wrong.length > 0 || document === undefined) {
  process.exit(1);
}
console.log(`${file}: valid AsyncAPI ${document.version()}, ${document.messages().length} messages`);
