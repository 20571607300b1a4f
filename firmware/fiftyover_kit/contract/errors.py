"""What the contract raises. Single inheritance only: MicroPython cannot lay out two exception bases.

Exception
  ContractError          the other end, a settings file or a caller broke the contract; the text says what and where
    FutureVersionError   the message is of a newer contract: update the older end
"""


class ContractError(Exception):
    """Something does not keep to the contract; `str()` is one sentence for a person: what, where, what to do."""


class FutureVersionError(ContractError):
    """The message is sound JSON of a later contract version than this end speaks; update the older end."""
