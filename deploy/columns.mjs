// Answers SQL with an embedded column engine, for cmd/prove: a line of JSON
// {"sql"} comes in, a line {"ms", "counts"} or {"error"} goes out, where counts
// are the last column of the rows and ms what the engine took without the
// writing of them.
//   node columns.mjs FOLDER-OF-NODE_MODULES FILE
import { createRequire } from "node:module";
import { createInterface } from "node:readline";

const [modules, file] = process.argv.slice(2);
const { DuckDBInstance } = createRequire(modules + "/")("@duckdb/node-api");
const connection = await (await DuckDBInstance.create(file)).connect();

for await (const line of createInterface({ input: process.stdin })) {
	try {
		const begin = performance.now();
		const reader = await connection.runAndReadAll(JSON.parse(line).sql);
		const ms = performance.now() - begin;
		const counts = reader.getRows().map((row) => Number(row.at(-1)));
		console.log(JSON.stringify({ ms, counts }));
	} catch (error) {
		console.log(JSON.stringify({ error: String(error) }));
	}
}
