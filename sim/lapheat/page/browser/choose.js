export function showChoices() {}
