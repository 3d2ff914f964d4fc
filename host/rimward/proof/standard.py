"""The retention test's two figures. ISO 4210-2, from memory: 110 % of the lower of rim and tyre maximum, for not less than 5 minutes."""

PERCENT = 110
HOLD_S = 300
