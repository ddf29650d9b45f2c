"""What all commands share: exit statuses, options, progress, screen."""
