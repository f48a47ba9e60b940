"""What the views share: parameters of an address, fields of a form, answers, figures, templates."""
