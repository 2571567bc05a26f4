// What the server puts in front of the worker's text (worker in internal/web/bench.go).
declare global {
  const files: string[];
  const edition: string;
  const benchAddress: string;
  const drawingsAddress: string;
}
export {};
