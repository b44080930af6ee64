export const EN = {};
