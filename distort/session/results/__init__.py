"""What results/ holds, there and back."""
