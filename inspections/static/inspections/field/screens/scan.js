// The camera, and a field for the code where a square cannot be read.
export function show() {}
